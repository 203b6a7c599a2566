"""The kinds of lithium battery that stand side by side in the mixture, and how far each may lie from its curve."""
from dataclasses import dataclass
from typing import Literal

from monitor.battery import rest_curves
from monitor.battery.rest_curves import Family


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of battery: its share before anything is seen, components along the charge axis, and its doubts.

    level, shape, axis: times the spread of the makes measured, for height and shape of the curve and for where along the
    charge axis its bends stand, bottom for its knee. kinetic: its kinetic
    gap over theirs. filling_by_capacity: how much of a missing capacity (ln) is missing filling of graphite.
    """

    name: str
    share: float
    along_count: int
    curve: Literal["measured", "half-way", "published"]
    level: float
    shape: float
    axis: float
    bottom: float
    kinetic: float
    capacity_ln: float
    capacity_sigma_ln: float
    filling_by_capacity: float


#: New ones: the makes measured (parameters.toml). Worn ones: 75 to 98 % of what 252 retired cells had lost lay beyond
#: graphite's step (Tao et al. 2024). Then what is unlike them: the published electrode curves, which lie 60 to 240 mV
#: lower, and half-way between. Shares and widths of the unlike by judgement.
KINDS = (
    Kind("like the makes measured", 0.38, 11, "measured", 1.0, 1.0, 1.0, 1.0, 1.0, -0.02, 0.12, 0.2),
    Kind("worn", 0.15, 6, "measured", 1.2, 1.4, 1.2, 1.5, 1.0, -0.18, 0.09, 0.7),
    Kind("much worn", 0.13, 6, "measured", 1.2, 1.4, 1.2, 1.5, 1.0, -0.37, 0.11, 0.7),
    Kind("half-way to the published", 0.11, 5, "half-way", 1.4, 1.4, 1.2, 2.0, 0.6, -0.05, 0.17, 0.4),
    Kind("like the published", 0.09, 5, "published", 1.2, 1.0, 1.0, 1.2, 0.3, -0.05, 0.15, 0.3),
    Kind("of an unknown make", 0.14, 6, "measured", 2.0, 2.2, 1.5, 2.0, 1.0, -0.10, 0.20, 0.5),
)


def curves(without: tuple[str, ...] = ()) -> tuple[Family, ...]:
    """The curve of each kind, in the order of KINDS; without names makes to leave out."""
    by_name = {"measured": rest_curves.pooled(without), "half-way": rest_curves.halfway(without),
               "published": rest_curves.published()}
    return tuple(by_name[kind.curve] for kind in KINDS)
