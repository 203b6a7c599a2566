"""What the mixture says of charge and capacity: moments, intervals, draws."""
from dataclasses import dataclass
from math import erf, exp, sqrt
from random import Random

from monitor.estimation.state import CAPACITY, CHARGE, Mixture

#: Components lighter than this are not told of.
LEAST_SHARE = 3e-4
#: Never surer than this of a charge: the counting within a window.
COUNTED_FRAC = 0.005
Interval = tuple[float, float, float]
"""2.5 %, 50 % and 97.5 %."""


@dataclass(frozen=True, slots=True)
class Posterior:
    """Charge fraction and ln capacity [Ah] as a sum of bivariate normals.

    parts: weight, mean charge, mean ln capacity, variances of both and their covariance.
    """

    parts: tuple[tuple[float, float, float, float, float, float], ...]

    def mean(self) -> tuple[float, float]:
        """Mean charge fraction and ln capacity."""
        return sum(w * z for w, z, *_ in self.parts), sum(p[0] * p[2] for p in self.parts)

    def covariance(self) -> tuple[float, float, float]:
        """Variance of charge, of ln capacity, and their covariance."""
        z, q = self.mean()
        return (
            sum(w * (vz + (a - z) ** 2) for w, a, _, vz, _, _ in self.parts),
            sum(w * (vq + (b - q) ** 2) for w, _, b, _, vq, _ in self.parts),
            sum(w * (c + (a - z) * (b - q)) for w, a, b, _, _, c in self.parts))

    def charge(self) -> Interval:
        """Charge fraction, within 0 to 1."""
        low, middle, high = quantiles([(w, z, sqrt(vz)) for w, z, _, vz, _, _ in self.parts])
        return min(max(low, 0.0), 1.0), min(max(middle, 0.0), 1.0), min(max(high, 0.0), 1.0)

    def capacity_ah(self) -> Interval:
        """Capacity [Ah]."""
        low, middle, high = quantiles([(w, q, sqrt(vq)) for w, _, q, _, vq, _ in self.parts])
        return exp(low), exp(middle), exp(high)

    def left_ah(self, reserve_frac: float = 0.0) -> Interval:
        """Ampere-hours down to a charge fraction, by a straight line about each part; never less than none, and no more than fits."""
        parts = []
        for w, z, q, vz, vq, c in self.parts:
            capacity, part = exp(q), min(z, 1.0) - reserve_frac
            parts.append((w, part * capacity, capacity * sqrt(max(vz + part * part * vq + 2 * part * c, 1e-10))))
        low, middle, high = quantiles(parts)
        return max(low, 0.0), max(middle, 0.0), max(high, 0.0)

    def draw(self, count: int, random: Random) -> list[tuple[float, float]]:
        """Charge fraction (0 to 1) and capacity [Ah] of count batteries that it may be."""
        chosen = random.choices(self.parts, [p[0] for p in self.parts], k=count)
        found = []
        for _, z, q, vz, vq, c in chosen:
            a, b = random.gauss(0.0, 1.0), random.gauss(0.0, 1.0)
            sz = sqrt(vz)
            tie = c / sz
            found.append((min(max(z + sz * a, 0.0), 1.0), exp(q + tie * a + sqrt(max(vq - tie * tie, 0.0)) * b)))
        return found


def posterior(mixture: Mixture, shares: list[float], out_ah: float, doubt_ah2: float, gain_sigma_frac: float) -> Posterior:
    """What is believed now.

    out_ah: net charge drawn since the mixture's last step, doubt_ah2: variance of what of it was guessed; gain_sigma_frac:
    doubt of the shunt's gain, which capacity cannot be told from.
    """
    parts = []
    for share, c in zip(shares, mixture, strict=True):
        if share < LEAST_SHARE:
            continue
        mean, cov = c.mean, c.covariance
        capacity = exp(mean[CAPACITY])
        drawn = out_ah / capacity
        var_q, cross = cov[CAPACITY][CAPACITY], cov[CHARGE][CAPACITY]
        variance = cov[CHARGE][CHARGE] + 2 * drawn * cross + drawn * drawn * var_q + doubt_ah2 / capacity**2
        parts.append((share, mean[CHARGE] - drawn, mean[CAPACITY], max(variance, 0.0) + COUNTED_FRAC**2,
                      var_q + gain_sigma_frac**2, cross + drawn * var_q))
    return Posterior(tuple(parts))


def quantiles(parts: list[tuple[float, float, float]]) -> Interval:
    """2.5, 50 and 97.5 % of a sum of normals (weight, mean, sigma)."""
    total = sum(w for w, _, _ in parts)
    scaled = [(w / total, m, 1.0 / (1.4142135623730951 * max(s, 1e-9))) for w, m, s in parts]
    least = min(m - 4 * s for _, m, s in parts)
    most = max(m + 4 * s for _, m, s in parts)
    found, low_end = [], least
    for share in (0.025, 0.5, 0.975):
        low, high = low_end, most
        wanted = 2.0 * share - 1.0
        for _ in range(12):
            middle = 0.5 * (low + high)
            if sum(w * erf((middle - m) * k) for w, m, k in scaled) < wanted:
                low = middle
            else:
                high = middle
        low_end = low
        found.append(0.5 * (low + high))
    return found[0], found[1], found[2]
