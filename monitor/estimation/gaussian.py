"""Algebra of one Gaussian: linear measurement, moments of several, a split in three. Covariances are triangles."""
from math import exp, log, pi, sqrt

from monitor.estimation.triangle import Triangle, Vector, less_product, place, sum_of_rows
from monitor.parameters import table

P = table("estimation", "gaussian")
LN_2PI = log(2.0 * pi)
#: A Gaussian as three narrower ones along a line: offsets in sigmas, weights, the sigma left along it.
SPLIT, SPLIT_SIGMA = P.numbers("split"), P.number("split_sigma")


def times(covariance: Triangle, slopes: dict[int, float], n: int) -> list[float]:
    """Covariance of every quantity with the one that these slopes make.

    covariance: of all quantities, its triangle; slopes: of the linear combination, by index; n: how many quantities there are.
    """
    return sum_of_rows(tuple(slopes), n)(covariance, *slopes.values())


def along(cross: list[float], slopes: dict[int, float]) -> float:
    """Variance of a linear combination, given its covariance with everything."""
    return max(sum([s * cross[i] for i, s in slopes.items()]), 0.0)


def log_density(miss: float, variance: float) -> float:
    """Log of a normal density, its normaliser kept."""
    return -0.5 * (miss * miss / variance + log(variance) + LN_2PI)


def update(mean: Vector, covariance: Triangle, cross: list[float], miss: float, total: float,
           untouched: tuple[int, ...] = ()) -> tuple[Vector, Triangle]:
    """Mean and covariance after a linear measurement with innovation miss of variance total.

    mean: of each quantity; covariance: of all quantities; cross: covariance of the measured value with each quantity; miss:
    innovation: measured less expected; total: its variance, measurement included; untouched: indices that are considered and not
    learnt (Schmidt 1966): their mean and variance stay.
    """
    k = miss / total
    new = [m + k * c for m, c in zip(mean, cross, strict=True)]
    learnt = less_product(len(mean))(covariance, [c / total for c in cross], cross)
    if not untouched:
        return tuple(new), learnt
    numbers = list(learnt)
    for i in untouched:
        new[i] = mean[i]
        for j in untouched:
            if j <= i:
                at = place(i, j)
                numbers[at] = covariance[at]
    return tuple(new), tuple(numbers)


def merge(parts: list[tuple[float, Vector, Triangle]]) -> tuple[float, Vector, Triangle]:
    """One Gaussian with the moments of several, each with the log of its weight."""
    if len(parts) == 1:
        return parts[0]
    top = max(p[0] for p in parts)
    weights = [exp(p[0] - top) for p in parts]
    total = sum(weights)
    weights = [w / total for w in weights]
    less = less_product(len(parts[0][1]))
    mean = [0.0] * len(parts[0][1])
    for w, (_, m, _) in zip(weights, parts, strict=True):
        mean = [a + w * x for a, x in zip(mean, m, strict=True)]
    numbers = [0.0] * len(parts[0][2])
    for w, (_, m, covariance) in zip(weights, parts, strict=True):
        back = [a - x for x, a in zip(m, mean, strict=True)]
        apart = [x - a for x, a in zip(m, mean, strict=True)]
        numbers = [r + w * p for r, p in zip(numbers, less(covariance, back, apart), strict=True)]
    return top + log(total), tuple(mean), tuple(numbers)


def split(mean: Vector, covariance: Triangle, cross: list[float], variance: float, untouched: tuple[int, ...] = (),
          ) -> list[tuple[float, Vector, Triangle]]:
    """Three Gaussians along a linear combination, given its covariance with everything and its variance.

    mean: of each quantity; covariance: of all quantities; cross: covariance of the measured value with each quantity; variance: of
    the combination or reading, squared units; untouched: indices of which each of the three believes the same as before, so that
    which of them wins teaches nothing of them.
    """
    sigma = sqrt(variance)
    way = [c / sigma for c in cross]
    shrink = 1.0 - SPLIT_SIGMA**2
    shrunk = less_product(len(mean))(covariance, [shrink * a for a in way], way)
    if untouched:
        numbers = list(shrunk)
        for i in untouched:
            way[i] = 0.0
            for j in untouched:
                if j <= i:
                    at = place(i, j)
                    numbers[at] = covariance[at]
        shrunk = tuple(numbers)
    return [(log(w), tuple([m + o * d for m, d in zip(mean, way, strict=True)]), shrunk) for o, w in SPLIT]
