"""From one end of the curve to the other: what was counted in between, over the charge it passed through, is the capacity.

On the flats voltage may move the charge and must not teach capacity, so the tie between the two that counting made is worn away
by the time the other end is reached. What was counted is kept beside it for this.
"""
from math import hypot, log, sqrt

from monitor.parameters import table
from monitor.replacing import dataclass

_P = table("battery", "lithium_end_to_end")
#: The charge at an end has to be as sure as this; of the capacity at least so much has to have passed.
SURE_FRAC, LEAST_FRAC, LEAST_RATED = _P.number("sure_frac"), _P.number("least_frac"), _P.number("least_rated_frac")
#: What of a charge that went in does not come out is known within this.
LOSS_SIGMA = _P.number("loss_sigma")


@dataclass(frozen=True, slots=True)
class EndToEnd:
    """The way from the last end: which it was, the charge there with its variance, net charge drawn since [Ah], variance of what
    of it was guessed, hours."""

    origin: str = ""
    charge_frac: float = 0.0
    variance: float = 0.0
    drawn_ah: float = 0.0
    doubt_ah2: float = 0.0
    hours: float = 0.0


def follow(swing: EndToEnd, drawn_ah: float, doubt_ah2: float, hours: float) -> EndToEnd:
    """The swing after one more window.

    swing: before; drawn_ah: net charge drawn in it [Ah]; doubt_ah2: variance of what of it was guessed; hours: its length.
    """
    if not swing.origin:
        return swing
    return EndToEnd(swing.origin, swing.charge_frac, swing.variance, swing.drawn_ah + drawn_ah, swing.doubt_ah2 + doubt_ah2,
                 swing.hours + hours)


def at_end(swing: EndToEnd, end: str, charge_frac: float, variance: float) -> EndToEnd:
    """The swing that begins at an end, or the same where it has only become less sure of it.

    swing: before; end: "full" or "empty"; charge_frac: charge believed there; variance: of it.
    """
    if swing.origin == end and variance > swing.variance and abs(swing.drawn_ah) < 1e-6:
        return swing
    return EndToEnd(end, charge_frac, variance)


def is_whole(swing: EndToEnd, end: str, charge_frac: float, variance: float, rated_ah: float) -> bool:
    """Whether this is the other end, both are sure, and enough lies between them.

    swing: the way here; end: which end it is; charge_frac: charge believed here; variance: of it; rated_ah: rated capacity.
    """
    passed = swing.charge_frac - charge_frac
    return (swing.origin not in ("", end) and max(variance, swing.variance) < SURE_FRAC**2 and abs(passed) > LEAST_FRAC
            and swing.drawn_ah * passed > 0.0 and abs(swing.drawn_ah) > LEAST_RATED * rated_ah)


def capacity(swing: EndToEnd, charge_frac: float, variance: float, offset_sigma_a: float) -> tuple[float, float]:
    """ln of the capacity [Ah] and one sigma, without the doubt of the shunt's gain.

    swing: the way here, a whole one; charge_frac: charge that a component believes in here; variance: of it; offset_sigma_a: doubt of
    the shunt's zero [A].
    """
    passed = swing.charge_frac - charge_frac
    counted = hypot(sqrt(swing.doubt_ah2), offset_sigma_a * swing.hours) / abs(swing.drawn_ah)
    return log(abs(swing.drawn_ah / passed)), hypot(sqrt(variance + swing.variance) / abs(passed), counted, LOSS_SIGMA)
