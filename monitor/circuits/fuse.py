"""Which fuse: rating between load and conductor, class by what it can break, place by the law."""
from dataclasses import dataclass

from monitor.circuits import conductor
from monitor.circuits.source import Supply
from monitor.circuits.tables import FUSE_CLASSES, FUSES, FuseClass, Size


@dataclass(frozen=True, slots=True)
class Fuse:
    """One fuse-link.

    rating_a : printed on it [A]; kind : its class; breaking_a : what it can interrupt [A]
    backed_up : a bolted short right behind it is left to the main fuse
    """

    rating_a: float
    kind: str
    breaking_a: float
    backed_up: bool = False


def least_rating_a(load_a: float, continuous: bool) -> float:
    """The smallest rating that carries a load without ageing [A]: 125 % of what flows for hours."""
    return load_a * (float(FUSES["rating"]["continuous_ratio"]) if continuous else 1.0)


def greatest_rating_a(kind: FuseClass, ampacity: float) -> float:
    """The largest rating of a class that protects a conductor [A].

    What the fuse carries continuously is no more than the conductor may carry, and it blows before 1.45 times that
    (IEC 60364-4-43). The US law for boats would allow 150 % of the conductor (33 CFR 183.455): not used here.
    """
    return min(ampacity / kind.carries_ratio, float(FUSES["rating"]["overload_ratio"]) * ampacity / kind.blows_ratio)


def may_break(kind: FuseClass, supply: Supply) -> bool:
    """Whether a class can interrupt what the source can push, or a main fuse before it does."""
    return kind.breaking_a >= supply.short_circuit_a or supply.behind_main


def outlasts(size: Size, kind: FuseClass, rating_a: float, copper_c: float, insulation_c: float) -> bool:
    """Whether the conductor outlasts every short circuit that the fuse needs up to 5 s for (adiabatic law).

    size: cross-section; kind: class of the fuse; rating_a: of the fuse [A]; copper_c: how hot the copper is before [°C];
    insulation_c: class of the insulation [°C].
    """
    return all(conductor.withstand_s(size.area_mm2, ratio * rating_a, copper_c, insulation_c) >= seconds
               for ratio, seconds in kind.fast)


def blows_fast_from_a(kind: FuseClass, rating_a: float) -> float:
    """The smallest short circuit that a fuse ends within 5 s [A]."""
    return kind.fast[0][0] * rating_a


def list_fuses(load_a: float, continuous: bool, ampacity: float, supply: Supply, rating_a: float | None = None) -> list[tuple[FuseClass,
    float]]:
    """Every class with its smallest rating that fits, the usual classes first.

    load_a : current of the load [A]; continuous : for hours
    ampacity : what the conductor may carry continuously [A]; supply : what stands behind
    rating_a : a fuse that is there already [A], or None
    """
    least = least_rating_a(load_a, continuous)
    found = []
    for kind in FUSE_CLASSES:
        most = greatest_rating_a(kind, ampacity) + 1e-9
        fitting = [r for r in kind.ratings_a if least - 1e-9 <= r <= most and (rating_a is None or r == rating_a)]
        if fitting and may_break(kind, supply):
            found.append((kind, fitting[0]))
    return found


def check_place(distance_m: float, sheathed: bool) -> None:
    """Whether a fuse may sit so far along the conductor from its source (33 CFR 183.455).

    Raises
    ------
    ValueError : it is too far away
    """
    place = FUSES["place"]
    most = place["sheathed_m"] if sheathed else place["bare_m"]
    if distance_m > most + 1e-9:
        raise ValueError(
            f"the fuse sits {1000 * distance_m:.0f} mm from its source: the limit is {1000 * place['bare_m']:.0f} mm, and "
            f"{1000 * place['sheathed_m']:.0f} mm where the conductor is sheathed or enclosed all the way (33 CFR 183.455)")
