"""Capacity read off the growth of step resistance: the one sign of lost plates that rest voltage cannot give.

Rest voltage counts acid. When active mass is lost the acid stays, and the battery ends early with
a voltage that looks half full (Bode 1977; Berndt 1997). Resistance to a load step grows as the mass
still working runs out (Shepherd 1965), whatever the acid says: base * (1 + k * u**p / (1 - u)) with
u the part drawn of what there is. k and p differ between batteries and are integrated out.
"""
from functools import cache
from math import exp, log, sqrt
from operator import itemgetter, mul, sub

from monitor.parameters import table
from monitor.replacing import dataclass

USUAL_C = table("battery", "house_battery").number("usual_c")
P = table("estimation", "resistance_growth")
BIN_FRAC, BINS, POWERS = P.number("bin_frac"), P.count("bins"), P.numbers("powers")
GROWTHS = tuple(P.number("growth") * exp(P.sigma("growth") * z) for z, _ in P.numbers("growths"))
_COSTS = tuple(cost for _, cost in P.numbers("growths")) * len(POWERS)
SIZES = tuple(exp(P.number("least_ln") + P.number("size_ln") * i) for i in range(P.count("sizes")))   # of the rated capacity
SHAPE_ERROR, STEP_ERROR, LEAST_ERROR = P.number("shape_error"), P.number("step_error"), P.number("least_error")
CONDUCTS_PER_K, MOST_STEPS = P.number("conducts_per_k"), P.number("most_steps")
LEAST_BINS, LEAST_DEPTH, DEEPEST_FRAC = P.count("least_bins"), P.number("least_depth"), P.number("deepest_frac")
REACH, NEW_PART = P.number("reach"), P.number("new_part")


@dataclass(frozen=True, slots=True)
class Growth:
    """Log resistance by depth bin, how many steps it rests on, and what it says of the capacity.

    mean_ln and sigma_ln are a measurement of the logarithm of capacity over rated capacity that is
    free of other evidence; sigma_ln is 0 while there is none.
    """

    log_ohm: tuple[float, ...] = (0.0,) * BINS
    count: tuple[float, ...] = (0.0,) * BINS
    fresh: int = 0
    mean_ln: float = 0.0
    sigma_ln: float = 0.0


def add(growth: Growth, resistance_ohm: float, depth_frac_rated: float, temperature_c: float | None) -> Growth:
    """Keep one step's resistance at its depth (ampere-hours from full over the rated capacity).

    growth: resistance by depth so far; resistance_ohm: of one load step [ohm]; depth_frac_rated: ampere-hours from full over the
    rated capacity; temperature_c: battery temperature [°C], None: not known.
    """
    index = int(depth_frac_rated / BIN_FRAC)
    if not 0 <= index < BINS or resistance_ohm <= 0.0:
        return growth
    value = log(resistance_ohm) + CONDUCTS_PER_K * ((USUAL_C if temperature_c is None else temperature_c) - USUAL_C)
    logs, counts = list(growth.log_ohm), list(growth.count)
    counts[index] = min(counts[index] + 1.0, MOST_STEPS)
    logs[index] += (value - logs[index]) / counts[index]
    return Growth(tuple(logs), tuple(counts), growth.fresh + 1, growth.mean_ln, growth.sigma_ln)


@cache
def _shapes() -> tuple[tuple[tuple[float, ...], ...], ...]:
    """ln of how many times the full battery's resistance, by size, then by power and growth, then by bin."""
    found = []
    for size in SIZES:
        drawn = [min((i + 0.5) * BIN_FRAC / size, DEEPEST_FRAC) for i in range(BINS)]
        found.append(tuple(tuple(log(1.0 + k * (u**power / (1.0 - u))) for u in drawn) for power in POWERS for k in GROWTHS))
    return tuple(found)


def judge(growth: Growth, prior_ln: float, prior_sigma_ln: float) -> Growth:
    """Weigh every size against the bins; prior is the present belief about ln(capacity / rated).

    growth: resistance by depth so far; prior_ln: ln of capacity over rated, as believed; prior_sigma_ln: its doubt, one sigma.
    """
    bins = [i for i, n in enumerate(growth.count) if n >= 2.0]
    deepest = (bins[-1] + 0.5) * BIN_FRAC if bins else 0.0
    if len(bins) < LEAST_BINS or deepest < LEAST_DEPTH:
        return Growth(growth.log_ohm, growth.count, 0, 0.0, 0.0)
    pick = itemgetter(*bins)
    seen, certainty = pick(growth.log_ohm), [1.0 / (SHAPE_ERROR**2 + STEP_ERROR**2 / n) for n in pick(growth.count)]
    sum_w, weights = sum(certainty), []
    for size, shapes in zip(SIZES, _shapes(), strict=True):
        total = 0.0
        if deepest < REACH * size:
            for shape, cost in zip(shapes, _COSTS, strict=True):
                total += exp(-cost - 0.5 * _misfit(seen, certainty, sum_w, pick(shape)) * 0.5)
        weights.append(total)
    plain = [w * exp(-0.5 * ((log(s) - prior_ln) / prior_sigma_ln) ** 2) for w, s in zip(weights, SIZES, strict=True)]
    total = sum(plain)
    if total <= 0.0:
        return Growth(growth.log_ohm, growth.count, 0, 0.0, 0.0)
    mean = sum(w * log(s) for w, s in zip(plain, SIZES, strict=True)) / total
    variance = sum(w * (log(s) - mean) ** 2 for w, s in zip(plain, SIZES, strict=True)) / total + LEAST_ERROR**2
    prior_variance = prior_sigma_ln**2
    if variance >= NEW_PART * prior_variance:
        return Growth(growth.log_ohm, growth.count, 0, 0.0, 0.0)
    own = 1.0 / (1.0 / variance - 1.0 / prior_variance)
    value = prior_ln + (mean - prior_ln) * (prior_variance + own) / prior_variance
    return Growth(growth.log_ohm, growth.count, 0, value, sqrt(own))


def _misfit(seen: tuple[float, ...], weights: list[float], sum_w: float, shape: tuple[float, ...]) -> float:
    """Weighted squares left over with the best base resistance."""
    left = list(map(sub, seen, shape))
    weighted = list(map(mul, weights, left))
    sum_wx = sum(weighted)
    return sum(map(mul, weighted, left)) - sum_wx * sum_wx / sum_w
