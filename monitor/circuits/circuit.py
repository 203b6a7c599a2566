"""One circuit as its owner describes it, and the sentence that refuses what cannot be."""
from dataclasses import dataclass
from math import isfinite
from typing import Literal

from monitor.circuits import fuse
from monitor.circuits.tables import CLASSES_C, CONDUCTORS

Kind = Literal["load", "charger", "link", "sense", "control"]
KINDS: tuple[Kind, ...] = ("load", "charger", "link", "sense", "control")
PLACES = ("cabin", "engine bay")
LAYINGS = ("open", "conduit", "insulation")
#: Air where nothing is said [°C]: a closed vehicle in the sun, and under the bonnet in slow traffic (common practice).
AMBIENT_C = {"cabin": 40.0, "engine bay": 70.0}
#: The air must be cooler than the insulation's class by this much [K] (common practice: the published square-root law
#: is too kind close to it, because still air carries less heat away at small differences).
HEADROOM_K = 15.0
#: Drop where nothing is said [% of 12 V]: 3 for what must not suffer, ABYC E-11 (two reprints).
DROP_PCT = 3.0
#: What drops are compared with [V].
NOMINAL_V = 12.0


class Refused(ValueError):
    """A circuit that cannot be, or would not be safe; one sentence with the limit and its source."""


@dataclass(frozen=True, slots=True)
class Circuit:
    """One circuit.

    name : what the owner calls it; kind : load, charger, link (between two batteries), sense or control
    current_a : that flows [A]; length_m : ONE way [m]
    supply : name of the battery or of the circuit that feeds it; other : name of the second battery of a link
    place : "cabin" or "engine bay"; laid : "open", "conduit" or "insulation"
    loaded_count : conductors under load in the same bundle, these two among them
    insulation_c : printed on the cable [°C]; ambient_c : air around it [°C], None: usual for the place
    drop_pct : allowed drop [% of 12 V]
    continuous : the current flows for hours; inrush_a : when it is switched on [A], None: not known
    relay : a relay or contactor switches it
    conductor, fuse_a : what is there already and shall be checked; fuse_distance_m, sheathed : where the fuse sits
    tinned : tinned copper
    """

    name: str
    current_a: float
    length_m: float
    kind: Kind = "load"
    supply: str = ""
    other: str = ""
    place: str = "cabin"
    laid: str = "open"
    loaded_count: int = 2
    insulation_c: float = 70.0
    ambient_c: float | None = None
    drop_pct: float = DROP_PCT
    continuous: bool = True
    inrush_a: float | None = None
    relay: bool = False
    conductor: str = ""
    fuse_a: float | None = None
    fuse_distance_m: float = 0.0
    sheathed: bool = False
    tinned: bool = False

    @property
    def air_c(self) -> float:
        """Air that it is sized for [°C]."""
        return AMBIENT_C[self.place] if self.ambient_c is None else self.ambient_c


#: field -> (least, most, unit, where the limit comes from)
LIMITS = {
    "current_a": (0.001, 1000.0, "A", "cranking circuits and more are beyond this sheet, as they are beyond 33 CFR 183.425"),
    "length_m": (0.05, 50.0, "m one way", "longer than any vehicle"),
    "insulation_c": (60.0, 125.0, "°C", "the classes of 33 CFR 183.425 table 5 that vehicle cable is made in"),
    "ambient_c": (-40.0, 120.0, "°C", "ISO 16750-4's coldest and hottest places of a vehicle, from memory"),
    "drop_pct": (0.1, 10.0, "%", "ABYC E-11: 3 for what must not suffer, 10 for the rest"),
    "loaded_count": (1, 60, "conductors", "the bundling tables end there"),
    "inrush_a": (0.001, 5000.0, "A", "more than a relay of a vehicle closes on"),
    "fuse_a": (0.5, 500.0, "A", "the standard ratings of fuse-links for vehicles"),
    "fuse_distance_m": (0.0, 50.0, "m", "longer than any vehicle"),
}


def check(circuit: Circuit) -> None:
    """Whether a circuit is described in figures that can be.

    Raises
    ------
    Refused : one sentence: which figure, its limits and their source
    """
    for name, (low, high, unit, why) in LIMITS.items():
        value = getattr(circuit, name)
        if value is None:
            continue
        if not isfinite(value) or not low <= value <= high:
            raise Refused(f"{circuit.name}: {name} is {value:g} {unit}: it must lie between {low:g} and {high:g} ({why})")
    for name, value, choices in (("kind", circuit.kind, KINDS), ("place", circuit.place, PLACES), ("laid", circuit.laid, LAYINGS)):
        if value not in choices:
            raise Refused(f"{circuit.name}: {name} is {value!r}: it must be one of {', '.join(choices)}")
    most = CONDUCTORS["laying"]["most_together"][circuit.laid]
    if circuit.loaded_count > most:
        raise Refused(f"{circuit.name}: {circuit.loaded_count} loaded conductors together in {circuit.laid}: no more than {most} there "
                      "(BS 7671 and NEC 310.15 have no factor that holds); split the bundle or lay it in the open")
    try:
        fuse.check_place(circuit.fuse_distance_m, circuit.sheathed)
    except ValueError as error:
        raise Refused(f"{circuit.name}: {error}") from None
    top = max(c for c in CLASSES_C if c <= circuit.insulation_c)
    if circuit.air_c > top - HEADROOM_K:
        raise Refused(f"{circuit.name}: the air is {circuit.air_c:g} °C in the {circuit.place} and the insulation counts as class {top} °C "
                      f"(33 CFR 183.425): less than {HEADROOM_K:g} K are left for its own heat (common practice); take insulation for "
                      f"105 or 125 °C, or a cooler way")
