"""How much of a reading on the flats is news.

What a curve has wrong at one charge it has wrong each time the battery stands there or comes by: a thousand readings of it are no thousand
witnesses. The first reading at a charge counts in full and each later one there for less, as if there were no more of them than the
logarithm of all (a coarsened likelihood: Miller and Dunson 2019).
"""
from math import exp

from monitor.parameters import table
from monitor.replacing import dataclass

_P = table("estimation/observations", "repeats")
#: Charge is told apart in steps of this part of the rated capacity; a reading in the next step counts there by this part.
STEP_FRAC, BESIDE = _P.number("step_frac"), _P.number("beside")
#: Each earlier reading at a charge weighs so much against a new one.
BEFORE = _P.number("before")
#: Readings are forgotten with this time [h]; a step with less of them than this is left out.
FORGET_H, LEAST = table("battery", "lithium_mixture").number("kinds_h"), _P.number("least")


@dataclass(frozen=True, slots=True)
class Repeats:
    """Where the flats were read before.

    place_ah: net charge counted since switch-on; once an end was met, above full (so mostly negative) [Ah]; counts: how many
    readings there were in each step of charge; tied: whether an end was met.
    """

    place_ah: float = 0.0
    counts: tuple[tuple[int, float], ...] = ()
    tied: bool = False


def follow(repeats: Repeats, net_ah: float, hours: float) -> Repeats:
    """The same after one more window.

    repeats: before; net_ah: charge counted in it, positive into the battery [Ah]; hours: its length.
    """
    keep = exp(-hours / FORGET_H)
    return Repeats(repeats.place_ah + net_ah, tuple([(at, keep * n) for at, n in repeats.counts if n > LEAST]), repeats.tied)


def news(repeats: Repeats, rated_ah: float) -> float:
    """Part of a reading here that was not said before, 0 to 1.

    repeats: where was read before; rated_ah: rated capacity [Ah].
    """
    here, counts = _step(repeats, rated_ah), dict(repeats.counts)
    read = counts.get(here, 0.0) + BESIDE * (counts.get(here - 1, 0.0) + counts.get(here + 1, 0.0))
    return 1.0 / (1.0 + BEFORE * read)


def note(repeats: Repeats, rated_ah: float) -> Repeats:
    """The same with a reading here."""
    here, counts = _step(repeats, rated_ah), dict(repeats.counts)
    counts[here] = counts.get(here, 0.0) + 1.0
    return Repeats(repeats.place_ah, tuple(counts.items()), repeats.tied)


def tie(repeats: Repeats, place_ah: float, rated_ah: float) -> Repeats:
    """The same at an end, which tells where it stands: the first one where all that went before was read as well.

    repeats: before; place_ah: charge above full [Ah]; rated_ah: rated capacity [Ah].
    """
    moved = Repeats(place_ah, repeats.counts, True)
    if repeats.tied:
        return moved
    by = _step(moved, rated_ah) - _step(repeats, rated_ah)
    return Repeats(place_ah, tuple([(at + by, n) for at, n in repeats.counts]), True)


def _step(repeats: Repeats, rated_ah: float) -> int:
    return round(repeats.place_ah / (STEP_FRAC * rated_ah))
