"""One belief about several quantities at once, and how a measurement changes it (plain floats)."""
from dataclasses import dataclass
from math import sqrt


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
        a * sum(p * b for p, b in zip(row, slope)) for a, row in zip(slope, belief.covariance) if a
    )


def weigh(belief: Belief, slope: tuple[float, ...], surprise: float, variance: float) -> Belief:
    """The belief after one scalar measurement.

    slope is the derivative of the measured value by each quantity, surprise what was measured
    less what was expected, variance that of the measurement alone. Whether to refuse it is the
    caller's choice. Kalman, Trans. ASME J. Basic Eng. 82 (1960) 35.
    """
    pull = [sum([p * b for p, b in zip(row, slope)]) for row in belief.covariance]
    total = sum([a * g for a, g in zip(slope, pull)]) + variance
    step = surprise / total
    inverse = 1.0 / total
    return Belief(
        tuple([m + g * step for m, g in zip(belief.mean, pull)]),
        tuple([
            tuple([p - g * h * inverse for p, h in zip(row, pull)])
            for row, g in zip(belief.covariance, pull)
        ]),
    )


def weigh_around(
    belief: Belief, slope: tuple[float, ...], surprise: float, variance: float, untouched: int,
) -> Belief:
    """The same, but one quantity is considered and not learnt: its value and variance stay.

    For a quantity that the measurement would seem to show and cannot (Schmidt, "Application of
    state-space methods to navigation problems", Advances in Control Systems 3, 1966).
    """
    pull = [sum([p * b for p, b in zip(row, slope)]) for row in belief.covariance]
    total = sum([a * g for a, g in zip(slope, pull)]) + variance
    gain = [g / total for g in pull]
    gain[untouched] = 0.0
    return Belief(
        tuple([m + k * surprise for m, k in zip(belief.mean, gain)]),
        tuple([
            tuple([p - (k * h + g * o) + k * o * total for p, h, o in zip(row, pull, gain)])
            for row, k, g in zip(belief.covariance, gain, pull)
        ]),
    )


def widened(belief: Belief, index: int, variance: float) -> Belief:
    """The same belief with more doubt about one quantity."""
    rows = list(belief.covariance)
    row = list(rows[index])
    row[index] += variance
    rows[index] = tuple(row)
    return Belief(belief.mean, tuple(rows))


def replaced(belief: Belief, index: int, value: float, sigma: float) -> Belief:
    """The same belief with one quantity known anew and tied to no other; nothing else learns from it."""
    mean = list(belief.mean)
    mean[index] = value
    rows = [list(row) for row in belief.covariance]
    for other in range(len(mean)):
        rows[index][other] = rows[other][index] = 0.0
    rows[index][index] = sigma * sigma
    return Belief(tuple(mean), tuple(tuple(row) for row in rows))


def parted(belief: Belief, one: int, other: int) -> Belief:
    """The same belief in which two quantities no longer say anything of each other."""
    rows = [list(row) for row in belief.covariance]
    rows[one][other] = rows[other][one] = 0.0
    return Belief(belief.mean, tuple(tuple(row) for row in rows))


def narrowed(belief: Belief, index: int, value: float, sigma: float) -> Belief:
    """The part of a belief in which one quantity lies about a value; what is tied to it moves along."""
    variance = belief.covariance[index][index]
    slopes = [c / variance for c in belief.covariance[index]]
    move, less = value - belief.mean[index], variance - sigma * sigma
    return Belief(
        tuple([m + s * move for m, s in zip(belief.mean, slopes)]),
        tuple([tuple([p - a * b * less for p, b in zip(row, slopes)]) for row, a in zip(belief.covariance, slopes)]))


def tied(belief: Belief, index: int, slopes: dict[int, float]) -> Belief:
    """The same belief where one quantity, so far tied to no other, moves with others by these slopes."""
    rows = [list(row) for row in belief.covariance]
    moves = [sum(slope * rows[to][k] for to, slope in slopes.items()) for k in range(len(rows))]
    moves[index] = rows[index][index] + sum(slope * moves[to] for to, slope in slopes.items())
    rows[index] = moves
    for other in range(len(moves)):
        rows[other][index] = moves[other]
    return Belief(belief.mean, tuple(tuple(row) for row in rows))
