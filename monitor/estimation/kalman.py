"""One belief about several quantities at once, and how a measurement changes it (plain floats)."""
from math import erf, exp, pi, sqrt

from monitor.replacing import dataclass


@dataclass(frozen=True, slots=True)
class Belief:
    """Best values with their covariance; the rows of a symmetric matrix."""

    mean: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]

    def sigma(self, index: int) -> float:
        """One standard deviation of one quantity."""
        return sqrt(max(self.covariance[index][index], 0.0))


def begin(means: tuple[float, ...], sigmas: tuple[float, ...]) -> Belief:
    """Independent quantities, each with its own doubt."""
    return Belief(means, tuple(
        tuple(s * s if i == j else 0.0 for j in range(len(sigmas))) for i, s in enumerate(sigmas)
    ))


def variance_along(belief: Belief, slope: tuple[float, ...]) -> float:
    """Variance of the sum of slope times quantity."""
    return sum(
        a * sum(p * b for p, b in zip(row, slope, strict=True)) for a, row in zip(slope, belief.covariance, strict=True) if a
    )


def update(belief: Belief, slope: tuple[float, ...], innovation: float, variance: float) -> Belief:
    """The belief after one scalar measurement.

    Whether to refuse it is the caller's choice. Kalman, Trans. ASME J. Basic Eng. 82 (1960) 35.

    belief: means and covariance before; slope: derivative of the measured value by each quantity; innovation: measured less
    expected; variance: of the measurement alone, or the doubt added, in the quantity's unit squared.
    """
    pull = [sum([p * b for p, b in zip(row, slope, strict=True)]) for row in belief.covariance]
    total = sum([a * g for a, g in zip(slope, pull, strict=True)]) + variance
    step = innovation / total
    inverse = 1.0 / total
    return Belief(
        tuple([m + g * step for m, g in zip(belief.mean, pull, strict=True)]),
        tuple([
            tuple([p - g * h * inverse for p, h in zip(row, pull, strict=True)])
            for row, g in zip(belief.covariance, pull, strict=True)
        ]),
    )


def update_consider(belief: Belief, slope: tuple[float, ...], innovation: float, variance: float, index: int) -> Belief:
    """The belief after a measurement of which one quantity only may learn; all others are considered and stay as they are.

    Schmidt, "Application of state-space methods to navigation problems", Advances in Control Systems 3, 1966.
    belief: before it; slope: derivative of what is measured by each quantity; innovation: measured less expected; variance: of the
    measurement; index: the quantity that learns.
    """
    pull = [sum([p * b for p, b in zip(row, slope, strict=True)]) for row in belief.covariance]
    total = sum([a * g for a, g in zip(slope, pull, strict=True)]) + variance
    gain = pull[index] / total
    mean, rows = list(belief.mean), [list(row) for row in belief.covariance]
    mean[index] += gain * innovation
    row = [p - gain * g for p, g in zip(belief.covariance[index], pull, strict=True)]
    row[index] += gain * (gain * total - pull[index])
    for other in range(len(mean)):
        rows[index][other] = rows[other][index] = row[other]
    return Belief(tuple(mean), tuple(tuple(r) for r in rows))


def update_alone(belief: Belief, index: int, innovation: float, variance: float) -> Belief:
    """The belief after one quantity was measured by itself, from which no other may learn: their values and variances stay.

    belief: before it; index: the quantity; innovation: measured less believed; variance: of the measurement.
    """
    return update_consider(belief, tuple(float(k == index) for k in range(len(belief.mean))), innovation, variance, index)


def inflate(belief: Belief, index: int, variance: float) -> Belief:
    """The same belief with more doubt about one quantity.

    belief: means and covariance before; index: which quantity; variance: of the measurement alone, or the doubt added, in the
    quantity's unit squared.
    """
    rows = list(belief.covariance)
    row = list(rows[index])
    row[index] += variance
    rows[index] = tuple(row)
    return Belief(belief.mean, tuple(rows))


def reset(belief: Belief, index: int, value: float, sigma: float) -> Belief:
    """The same belief with one quantity known anew and tied to no other; nothing else learns from it.

    belief: means and covariance before; index: which quantity; value: where it now lies; sigma: one standard deviation of it.
    """
    mean = list(belief.mean)
    mean[index] = value
    rows = [list(row) for row in belief.covariance]
    for other in range(len(mean)):
        rows[index][other] = rows[other][index] = 0.0
    rows[index][index] = sigma * sigma
    return Belief(tuple(mean), tuple(tuple(row) for row in rows))


def condition_on(belief: Belief, index: int, value: float, sigma: float) -> Belief:
    """The part of a belief in which one quantity lies about a value; what is tied to it moves along.

    belief: means and covariance before; index: which quantity; value: where it now lies; sigma: one standard deviation of it.
    """
    variance = belief.covariance[index][index]
    slopes = [c / variance for c in belief.covariance[index]]
    move, less = value - belief.mean[index], variance - sigma * sigma
    return Belief(
        tuple([m + s * move for m, s in zip(belief.mean, slopes, strict=True)]),
        tuple([
            tuple([p - a * b * less for p, b in zip(row, slopes, strict=True)])
            for row, a in zip(belief.covariance, slopes, strict=True)
        ]))


def truncate(belief: Belief, index: int, low: float, high: float) -> Belief:
    """The belief after word that one quantity lies between two bounds: mean and variance of what is left of its Gaussian.

    What is tied to it moves along. belief: before it; index: the quantity; low, high: the bounds.
    Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 1 (1994), 13.10.1.
    """
    sigma = belief.sigma(index)
    if sigma <= 0.0:
        return belief
    a, b = (low - belief.mean[index]) / sigma, (high - belief.mean[index]) / sigma
    inside = 0.5 * (erf(b / sqrt(2.0)) - erf(a / sqrt(2.0)))
    if inside > 0.9999:
        return belief
    if inside < 1e-6:      # the nearer bound, in doubt by as much as a tail that far out
        return condition_on(belief, index, low if a > 0 else high, sigma / max(abs(a if a > 0 else b), 1.0))
    at_a, at_b = exp(-0.5 * a * a) / sqrt(2.0 * pi), exp(-0.5 * b * b) / sqrt(2.0 * pi)
    shift = (at_a - at_b) / inside
    part = 1.0 + (a * at_a - b * at_b) / inside - shift * shift
    return condition_on(belief, index, belief.mean[index] + shift * sigma, sigma * sqrt(max(part, 1e-4)))


def correlate(belief: Belief, index: int, slopes: dict[int, float]) -> Belief:
    """The same belief where one quantity, so far tied to no other, moves with others by these slopes.

    belief: means and covariance before; index: which quantity; slopes: index of another quantity -> how far this one moves with it.
    """
    rows = [list(row) for row in belief.covariance]
    moves = [sum(slope * rows[to][k] for to, slope in slopes.items()) for k in range(len(rows))]
    moves[index] = rows[index][index] + sum(slope * moves[to] for to, slope in slopes.items())
    rows[index] = moves
    for other in range(len(moves)):
        rows[other][index] = moves[other]
    return Belief(belief.mean, tuple(tuple(row) for row in rows))
