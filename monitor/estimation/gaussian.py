"""Algebra of one Gaussian: linear measurement, moments of several, a split in three."""
from math import exp, log, sqrt

from monitor.estimation.state import Matrix, Vector

LN_2PI = 1.8378770664093453
#: A Gaussian as three narrower ones along a line: offsets in sigmas, weights, the sigma left along it (mean and variance kept).
SPLIT = ((-1.0576, 0.2252), (0.0, 0.5496), (1.0576, 0.2252))
SPLIT_SIGMA = 0.6716


def times(covariance: Matrix, slopes: dict[int, float]) -> list[float]:
    """Covariance of every quantity with the one that these slopes make."""
    items = iter(slopes.items())
    i, s = next(items)
    total = [s * p for p in covariance[i]]
    for i, s in items:
        total = [t + s * p for t, p in zip(total, covariance[i], strict=True)]
    return total


def along(cross: list[float], slopes: dict[int, float]) -> float:
    """Variance of a linear combination, given its covariance with everything."""
    return sum(s * cross[i] for i, s in slopes.items())


def log_density(miss: float, variance: float) -> float:
    """Log of a normal density, its normaliser kept."""
    return -0.5 * (miss * miss / variance + log(variance) + LN_2PI)


def update(mean: Vector, covariance: Matrix, cross: list[float], miss: float, total: float) -> tuple[Vector, Matrix]:
    """Mean and covariance after a linear measurement with innovation miss of variance total.

    mean: of each quantity; covariance: of all quantities; cross: covariance of the measured value with each quantity; miss:
    innovation: measured less expected; total: its variance, measurement included.
    """
    k = miss / total
    new = tuple([m + k * c for m, c in zip(mean, cross, strict=True)])
    rows = []
    for row, c in zip(covariance, cross, strict=True):
        g = c / total
        rows.append(tuple([p - g * x for p, x in zip(row, cross, strict=True)]) if g else row)
    return new, tuple(rows)


def update_consider(
    mean: Vector, covariance: Matrix, cross: list[float], miss: float, total: float, untouched: tuple[int, ...],
) -> tuple[Vector, Matrix]:
    """The same, but some quantities are considered, not learnt (Schmidt 1966): their mean and variance stay.

    mean: of each quantity; covariance: of all quantities; cross: covariance of the measured value with each quantity; miss:
    innovation: measured less expected; total: its variance, measurement included; untouched: indices that are considered and not
    learnt.
    """
    k = miss / total
    new = tuple([m if i in untouched else m + k * c for i, (m, c) in enumerate(zip(mean, cross, strict=True))])
    rows = []
    for i, (row, c) in enumerate(zip(covariance, cross, strict=True)):
        g = c / total
        fresh = [p - g * x for p, x in zip(row, cross, strict=True)]
        if i in untouched:
            for j in untouched:
                fresh[j] = row[j]
        rows.append(tuple(fresh))
    return new, tuple(rows)


def merged(parts: list[tuple[float, Vector, Matrix]]) -> tuple[float, Vector, Matrix]:
    """One Gaussian with the moments of several, each with the log of its weight."""
    top = max(p[0] for p in parts)
    weights = [exp(p[0] - top) for p in parts]
    total = sum(weights)
    weights = [w / total for w in weights]
    n = len(parts[0][1])
    mean = [0.0] * n
    for w, (_, m, _) in zip(weights, parts, strict=True):
        mean = [a + w * x for a, x in zip(mean, m, strict=True)]
    rows = [[0.0] * n for _ in range(n)]
    for w, (_, m, cov) in zip(weights, parts, strict=True):
        apart = [x - a for x, a in zip(m, mean, strict=True)]
        for i in range(n):
            d = w * apart[i]
            rows[i] = [r + w * p + d * y for r, p, y in zip(rows[i], cov[i], apart, strict=True)]
    return top + log(total), tuple(mean), tuple(tuple(r) for r in rows)


def split(mean: Vector, covariance: Matrix, cross: list[float], variance: float) -> list[tuple[float, Vector, Matrix]]:
    """Three Gaussians along a linear combination, given its covariance with everything and its variance.

    mean: of each quantity; covariance: of all quantities; cross: covariance of the measured value with each quantity; variance: of
    the combination or reading, squared units.
    """
    sigma = sqrt(variance)
    way = [c / sigma for c in cross]
    shrink = 1.0 - SPLIT_SIGMA**2
    cov = tuple(tuple([p - shrink * a * b for p, b in zip(row, way, strict=True)]) for row, a in zip(covariance, way, strict=True))
    return [(log(w), tuple([m + o * d for m, d in zip(mean, way, strict=True)]), cov) for o, w in SPLIT]
