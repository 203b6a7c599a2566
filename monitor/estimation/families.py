"""The kinds of lithium battery that stand side by side in the mixture, and how far each may lie from its curve."""
from math import hypot
from typing import Literal

from monitor.battery import rest_curves
from monitor.battery.rest_curves import Family
from monitor.parameters import table
from monitor.replacing import dataclass

#: ln of what a battery holds when new over its label.
NEW_LN = table("battery", "lithium_cell").number("new_ln")
Curve = Literal["measured", "half-way", "published"]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of battery: its share before anything is seen, components along the charge axis, and its doubts.

    level, shape, axis: times the spread of the makes measured, for height and shape of the curve and for where along the
    charge axis its bends stand, bottom for its knee. kinetic: its kinetic
    gap over theirs. label_sigma_ln: how far what it held when new may lie from its label (ln); wear_ln, wear_sigma_ln: what it
    has lost since (ln), and one sigma. filling_by_capacity: how much of a missing capacity (ln) is missing filling of graphite.
    """

    curve: Curve
    share: float
    along_count: int
    level: float
    shape: float
    axis: float
    bottom: float
    kinetic: float
    label_sigma_ln: float
    wear_ln: float
    wear_sigma_ln: float
    filling_by_capacity: float

    @property
    def capacity_ln(self) -> float:
        """ln of what it holds over its label."""
        return NEW_LN - self.wear_ln

    @property
    def capacity_sigma_ln(self) -> float:
        """One sigma of that."""
        return hypot(self.label_sigma_ln, self.wear_sigma_ln)

    def new_ln(self, over_label_ln: float) -> tuple[float, float, float]:
        """ln of what one held when new that now holds so much over its label (ln), its slope by that, and its variance."""
        label, wear = self.label_sigma_ln**2, self.wear_sigma_ln**2
        part = label / (label + wear)
        return NEW_LN + part * (over_label_ln - self.capacity_ln), part, part * wear


_P = table("estimation", "families")
#: From the makes measured to what is unlike them; each row has the numbers of a kind in the order of its fields.
_CURVES: tuple[tuple[str, Curve], ...] = (
    ("as_measured", "measured"), ("worn", "measured"), ("much_worn", "measured"), ("halfway", "half-way"), ("as_published", "published"),
    ("unknown_make", "measured"))
KINDS = tuple([Kind(curve, *_P.numbers(name)) for name, curve in _CURVES])


def curves(without: tuple[str, ...] = ()) -> tuple[Family, ...]:
    """The curve of each kind, in the order of KINDS; without names makes to leave out."""
    by_name = {"measured": rest_curves.pool_makes(without), "half-way": rest_curves.halfway(without),
               "published": rest_curves.published_curves()}
    return tuple(by_name[kind.curve] for kind in KINDS)
