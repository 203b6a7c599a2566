"""What is believed of charge and capacity at once, as a sum of normals that is handed on: moments, intervals, draws."""
from base64 import b64decode, b64encode
from math import erf, exp, sqrt
from random import Random
from statistics import NormalDist
from struct import calcsize, error, pack, unpack

from monitor.replacing import dataclass

Interval = tuple[float, float, float]
"""2.5 %, 50 % and 97.5 %."""
Part = tuple[float, float, float, float, float, float]
"""Weight, mean charge fraction, mean ln capacity, variance of both, their covariance."""

#: Half of a 95 % interval of a normal, in sigmas.
Z95 = 1.96
#: A sum that is saved every minute has about so many parts at most; parts further apart than so many sigmas stay apart.
MOST_PARTS, APART = 8, 3.0
_SAVED = "<6f"
_ROOT2 = 1.4142135623730951


@dataclass(frozen=True, slots=True)
class Posterior:
    """Charge fraction and ln capacity [Ah] as a sum of bivariate normals, weights adding up to one.

    offset_sigma_a: how well the zero of the shunt is known beside it, one sigma [A]; 0 where that was not handed on.
    """

    parts: tuple[Part, ...]
    offset_sigma_a: float = 0.0

    def mean(self) -> tuple[float, float]:
        """Mean charge fraction and ln capacity."""
        return sum([w * z for w, z, *_ in self.parts]), sum([p[0] * p[2] for p in self.parts])

    def covariance(self) -> tuple[float, float, float]:
        """Variance of charge, of ln capacity, and their covariance."""
        z, q = self.mean()
        return (
            sum([w * (vz + (a - z) ** 2) for w, a, _, vz, _, _ in self.parts]),
            sum([w * (vq + (b - q) ** 2) for w, _, b, _, vq, _ in self.parts]),
            sum([w * (c + (a - z) * (b - q)) for w, a, b, _, _, c in self.parts]))

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
        """Charge fraction (0 to 1) and capacity [Ah] of count batteries that it may be.

        Evenly spread: each part has its share of the draws and each normal its quantiles, so that a few hundred draws
        have the moments of many. They come in no order.

        Parameters
        ----------
        count : how many
        random : a seeded source of chance
        """
        normal = NormalDist()
        first = [normal.inv_cdf((i + 0.5) / count) for i in range(count)]
        second = first[:]
        random.shuffle(first)
        random.shuffle(second)
        found, k, reached = [], 0, self.parts[0][0]
        total = sum(p[0] for p in self.parts)
        for i, (a, b) in enumerate(zip(first, second, strict=True)):
            while (i + 0.5) / count * total > reached and k < len(self.parts) - 1:
                k += 1
                reached += self.parts[k][0]
            _, z, q, vz, vq, c = self.parts[k]
            sz = sqrt(vz)
            tie = c / sz if sz else 0.0
            found.append((min(max(z + sz * a, 0.0), 1.0), exp(q + tie * a + sqrt(max(vq - tie * tie, 0.0)) * b)))
        random.shuffle(found)
        return found

    def reduce(self) -> "Posterior":
        """The same in few parts, each rounded to what is saved: neighbours in charge become one with their moments."""
        made: list[Part] = []
        group: list[Part] = []
        weight, enough = 0.0, sum(p[0] for p in self.parts) / MOST_PARTS
        for part in sorted(self.parts, key=lambda p: p[1]):
            if group and (weight > enough or part[1] - group[-1][1] > APART * sqrt(max(part[3], group[-1][3]))):
                made.append(_merge(group))
                group, weight = [], 0.0
            group.append(part)
            weight += part[0]
        made.append(_merge(group))
        total = sum(p[0] for p in made)
        made = [(p[0] / total, *p[1:]) for p in made]
        return Posterior(tuple(_round(part) for part in made), unpack("<f", pack("<f", self.offset_sigma_a))[0])

    def rounded(self) -> "Posterior":
        """The same, each part rounded to what is saved."""
        return Posterior(tuple([_round(part) for part in self.parts]), unpack("<f", pack("<f", self.offset_sigma_a))[0])

    def to_plain(self) -> dict[str, str]:
        """Text to save it as; exact for a reduced or rounded one."""
        return {"packed": b64encode(pack("<f", self.offset_sigma_a) + b"".join(pack(_SAVED, *p) for p in self.parts)).decode()}

    @classmethod
    def from_plain(cls, plain: dict[str, str]) -> "Posterior":
        """The posterior that to_plain wrote.

        Raises
        ------
        ValueError : no such text
        """
        try:
            numbers = b64decode(plain["packed"], validate=True)
            step, first = calcsize(_SAVED), calcsize("<f")
            parts = tuple(_six(unpack(_SAVED, numbers[at:at + step])) for at in range(first, len(numbers), step))
            return cls(parts, unpack("<f", numbers[:first])[0])
        except error as cause:
            raise ValueError(f"a belief of another size: {cause}") from cause


def _merge(group: list[Part]) -> Part:
    if len(group) == 1:
        return group[0]
    weight = sum(p[0] for p in group)
    whole = Posterior(tuple((p[0] / weight, *p[1:]) for p in group))
    return (weight, *whole.mean(), *whole.covariance())


def _round(part: Part) -> Part:
    return _six(unpack(_SAVED, pack(_SAVED, *part)))


def _six(numbers: tuple[float, ...]) -> Part:
    w, z, q, vz, vq, c = numbers
    return w, z, q, vz, vq, c


def quantiles(parts: list[tuple[float, float, float]]) -> Interval:
    """2.5, 50 and 97.5 % of a sum of normals (weight, mean, sigma), each within some hundredths of a per cent of probability."""
    total = sum([w for w, _, _ in parts])
    scaled = [(w / total, m, 1.0 / (_ROOT2 * max(s, 1e-9))) for w, m, s in parts]
    mean = sum([w * m for w, m, _ in scaled])
    sigma = sqrt(sum([w * ((m - mean) ** 2 + 0.5 / (k * k)) for w, m, k in scaled]))
    least = min([m - 4 * s for _, m, s in parts])
    most = max([m + 4 * s for _, m, s in parts])
    found = []
    for share, at in ((0.025, -Z95), (0.5, 0.0), (0.975, Z95)):
        found.append(_crossing(scaled, 2.0 * share - 1.0, least, most, mean + at * sigma))
    return found[0], found[1], found[2]


def _crossing(scaled: list[tuple[float, float, float]], wanted: float, low: float, high: float, x: float) -> float:
    """Where the sum of error functions comes to what is wanted: Newton's steps, halves where one leads out of what holds it.

    scaled: weight, mean and one over root two sigmas; low, high: ends that hold it; x: where to begin.
    """
    for _ in range(40):
        if not low < x < high:
            x = 0.5 * (low + high)
        seen = slope = 0.0
        for w, m, k in scaled:
            seen += w * erf((x - m) * k)
        miss = seen - wanted
        if abs(miss) < 2e-4:
            return x
        if miss < 0.0:
            low = x
        else:
            high = x
        for w, m, k in scaled:
            slope += w * k * exp(-((x - m) * k) ** 2)
        slope *= 1.1283791670955126
        x = x - miss / slope if slope * (high - low) > abs(miss) else 0.5 * (low + high)
    return x
