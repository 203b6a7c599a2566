"""Keeps the sum of Gaussians small and fit: drops, splits, merges, normalises."""
from collections.abc import Callable
from math import exp, log, sqrt

from monitor.estimation import gaussian
from monitor.estimation.observations.reading import CurvePlace
from monitor.estimation.state import CAPACITY, CHARGE, FILLING, Component, Mixture
from monitor.estimation.update import add_logs
from monitor.parameters import table

_P = table("estimation", "mixture")
#: A component lighter than this (ln) is dropped; one wider than this along the curve is split where the curve can tell.
LIGHTEST, SPLIT_FRAC, SPLIT_LIGHTEST = _P.number("lightest_ln"), _P.number("split_frac"), _P.number("split_lightest_ln")
#: Likewise one across a bend, unless it is as narrow as this; so many times in one step.
BENT_V, NARROW_FRAC, SPLIT_DEEPEST = _P.number("bent_v"), _P.number("narrow_frac"), _P.count("split_deepest")
#: Components this near each other, in their own sigmas, say the same.
ALIKE, ALIKE_LEAST = _P.number("alike"), _P.number("alike_least")
#: So many are kept at most; more while it is not yet known where the battery stands.
MOST, MOST_AT_FIRST = _P.count("most"), _P.count("most_at_first")

#: What is not learnt by which part of a split component wins once so many ends were met: what the flats say of capacity is wrong by
#: the same curve each time, and is believed for a few days only.
UNTOUCHED, TAUGHT_ENDS = (CAPACITY, FILLING), _P.count("taught_ends")


def charge_moments(component: Component) -> tuple[float, float]:
    """Mean and variance of its charge fraction."""
    return component.mean[CHARGE], max(component.variance(CHARGE), 1e-8)


def normalise(components: list[Component]) -> Mixture:
    """Weights that add up to one, lightest left out."""
    total = components[0].log_weight
    for c in components[1:]:
        total = add_logs(total, c.log_weight)
    return tuple(Component(c.log_weight - total, c.family, c.mean, c.covariance)
                 for c in components if c.log_weight - total > LIGHTEST)


def refine(mixture: Mixture, where: Callable[[Component], CurvePlace], bent_v2: Callable[[Component, CurvePlace], float], ends: int,
            most: int = MOST) -> list[tuple[Component, CurvePlace]]:
    """The same belief, with components split that straddle a bend of the curve, each with its place on it.

    mixture: components with their weights; where: a component's place; bent_v2: what a straight line through the curve would leave
    of its voltage [V2]; ends: how many full charges and knees there were; most: so many there may be.
    """
    untouched = UNTOUCHED if ends > TAUGHT_ENDS else ()
    found, room = [], most - len(mixture)
    waiting = [(c, 0) for c in sorted(mixture, key=lambda c: c.log_weight)]
    while waiting:
        c, depth = waiting.pop()
        at = where(c)
        variance = at.graphite_variance
        if room > 1 and depth < SPLIT_DEEPEST and c.log_weight > SPLIT_LIGHTEST and (
                variance > SPLIT_FRAC**2 or variance > NARROW_FRAC**2 and bent_v2(c, at) > BENT_V**2):
            waiting += [(Component(c.log_weight + w, c.family, m, p), depth + 1)
                        for w, m, p in gaussian.split(c.mean, c.covariance, at.graphite_cross, variance, untouched)]
            room -= 2
        else:
            found.append((c, at))
    return found


def reduce(mixture: Mixture, most: int = MOST) -> Mixture:
    """The same belief in fewer components, most of them at most: those that say the same become one."""
    parts = list(normalise(list(mixture)))
    parts.sort(key=lambda c: -c.log_weight)
    places = [(c, *charge_moments(c), sqrt(c.variance(CAPACITY))) for c in parts]
    used, found = [False] * len(parts), []
    for i, (c, z, var, sq) in enumerate(places):
        if used[i]:
            continue
        group = [i]
        sz = sqrt(var)
        for j in range(i + 1, len(places)):
            other, z2, var2, sq2 = places[j]
            if (not used[j] and other.family == c.family
                    and abs(z2 - z) < min(ALIKE * min(sz, sqrt(var2)) + ALIKE_LEAST, SPLIT_FRAC)
                    and abs(other.mean[CAPACITY] - c.mean[CAPACITY]) < ALIKE * min(sq, sq2) + ALIKE_LEAST):
                group.append(j)
                used[j] = True
        if len(group) == 1:
            found.append(c)
        else:
            weight, mean, cov = gaussian.merge([(parts[k].log_weight, parts[k].mean, parts[k].covariance) for k in group])
            found.append(Component(weight, c.family, mean, cov))
    found.sort(key=lambda c: -c.log_weight)
    return tuple(c.rounded() for c in normalise(found[:most]))


def shares(mixture: Mixture) -> list[float]:
    """Weights that add up to one."""
    top = max(c.log_weight for c in mixture)
    weights = [exp(c.log_weight - top) for c in mixture]
    total = sum(weights)
    return [w / total for w in weights]


def log_share(weight: float) -> float:
    """Log of a share, of nothing a very small one."""
    return log(max(weight, 1e-12))
