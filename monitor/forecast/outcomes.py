"""How last nights' forecasts turned out, and what that teaches the next one."""
from math import exp, log

from monitor.parameters import table
from monitor.replacing import dataclass

P = table("forecast", "outcomes")
KEPT_NIGHTS = P.count("kept_nights")
SHIFT_SIGMA, SLOPE_SIGMA = P.number("shift_sigma"), P.number("slope_sigma")
STEP, LEAST, MOST, INSIDE = P.number("step"), P.number("least"), P.number("most"), P.number("inside")
TURNS, LEAST_SLOPE, LEAST_P = P.count("turns"), P.number("least_slope"), P.number("least_probability")


@dataclass(frozen=True, slots=True)
class NightOutcome:
    """One evening's forecast beside what happened."""

    issued_s: float
    said: float             # probability as issued
    raw: float              # as the paths gave it
    low_frac: float         # 80 % interval of the lowest point
    high_frac: float
    lowest_frac: float      # what it came to
    reserve_frac: float
    reached_s: float | None = None   # when the reserve was reached


@dataclass(frozen=True, slots=True)
class Learnt:
    """What the outcomes taught so far."""

    nights: tuple[NightOutcome, ...] = ()
    shift: float = 0.0
    slope: float = 1.0
    spread: float = 1.0     # factor on the width of the lowest point


def judge_night(learnt: Learnt, night: NightOutcome) -> Learnt:
    """What is known after one more night."""
    nights = (*learnt.nights, night)[-KEPT_NIGHTS:]
    missed = not night.low_frac <= night.lowest_frac <= night.high_frac
    spread = learnt.spread * exp(STEP * ((1.0 if missed else 0.0) - (1 - INSIDE)))
    shift, slope = _fit([(logit(n.raw), n.reached_s is not None) for n in nights])
    return Learnt(nights, shift, slope, min(max(spread, LEAST), MOST))


def correct_probability(learnt: Learnt, probability: float) -> float:
    """A probability as the outcomes say it ought to be read."""
    return 1 / (1 + exp(-(learnt.shift + learnt.slope * logit(probability))))


def logit(probability: float) -> float:
    """ln(p/(1-p)), kept finite."""
    p = min(max(probability, LEAST_P), 1.0 - LEAST_P)
    return log(p / (1 - p))


def _fit(rows: list[tuple[float, bool]]) -> tuple[float, float]:
    """Shift and slope of highest posterior probability, by Newton's method."""
    a, c = 0.0, 1.0
    for _ in range(TURNS):
        ga, gc = -a / SHIFT_SIGMA**2, -(c - 1) / SLOPE_SIGMA**2
        haa, hac, hcc = 1 / SHIFT_SIGMA**2, 0.0, 1 / SLOPE_SIGMA**2
        for x, y in rows:
            p = 1 / (1 + exp(-(a + c * x)))
            miss, w = (1.0 if y else 0.0) - p, p * (1 - p)
            ga, gc = ga + miss, gc + miss * x
            haa, hac, hcc = haa + w, hac + w * x, hcc + w * x * x
        det = haa * hcc - hac * hac
        # forecasts that are all wrong would throw an unbounded slope from one side to the other
        a, c = a + (hcc * ga - hac * gc) / det, max(c + (haa * gc - hac * ga) / det, LEAST_SLOPE)
    return a, c
