"""Capacity from swings whose depth and whose charge are both in doubt: total least squares.

Fitting charge over depth by ordinary least squares reads low, for the doubt is in the depth (Plett, J. Power
Sources 196 (2011) 2319). Here each swing is weighed by both of its doubts:

    J(Q) = 1/2 sum of (charge - Q depth)^2 / (sigma_charge^2 + Q^2 sigma_depth^2)

and the width of the answer is the curvature of J at its least.
"""
from collections.abc import Iterable
from math import exp, log, sqrt

from monitor.parameters import table
from monitor.replacing import dataclass

#: Golden section: each step leaves this part of the span.
_GOLDEN = (sqrt(5.0) - 1.0) / 2.0

P = table("wear", "total_least_squares")
_REACH = P.number("reach")


@dataclass(frozen=True, slots=True)
class Swing:
    """Charge drawn between two moments at which the battery itself told its depth of discharge.

    depth_frac is the difference of the two depths, charge_ah what was counted between them, both positive;
    the sigmas are one standard deviation. at_s is when it ended.
    """

    at_s: float
    depth_frac: float
    depth_sigma_frac: float
    charge_ah: float
    charge_sigma_ah: float


def capacity(swings: Iterable[Swing]) -> tuple[float, float]:
    """The capacity that fits the swings best, and one sigma of it [Ah].

    The sigma speaks of what averages out only. What all swings share (the slope of a rest curve, the gain
    of a shunt) is for the caller to add, outside the average.

    Raises
    ------
    ValueError : no swing, or one without depth or doubt

    >>> swings = [Swing(0.0, x, 0.02 * 2 ** 0.5, y, 0.5) for x, y in ((0.5, 49.0), (0.4, 41.5), (0.3, 28.8))]
    >>> [round(figure, 2) for figure in capacity(swings)]
    [99.57, 4.05]
    """
    swings = tuple(swings)
    if not swings or any(s.depth_frac == 0 or s.depth_sigma_frac**2 + s.charge_sigma_ah**2 <= 0 for s in swings):
        raise ValueError("capacity needs swings, each with a depth and a doubt")
    guess = sum(abs(s.charge_ah) for s in swings) / sum(abs(s.depth_frac) for s in swings)
    low, high = log(guess / _REACH), log(guess * _REACH)
    while high - low > 1e-7:
        left, right = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
        if _misfit(swings, exp(left)) < _misfit(swings, exp(right)):
            high = right
        else:
            low = left
    best = exp((low + high) / 2)
    step = 1e-4 * best
    curvature = (_misfit(swings, best + step) - 2 * _misfit(swings, best) + _misfit(swings, best - step)) / step**2
    return best, 1.0 / sqrt(curvature) if curvature > 0 else best


def _misfit(swings: tuple[Swing, ...], capacity_ah: float) -> float:
    return 0.5 * sum((s.charge_ah - capacity_ah * s.depth_frac) ** 2
                     / (s.charge_sigma_ah**2 + (capacity_ah * s.depth_sigma_frac) ** 2) for s in swings)
