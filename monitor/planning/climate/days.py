"""From a month's mean to its days: clear and dark ones as they come, warm and cool ones.

Sources
-------
[1] Bendt, Collares-Pereira and Rabl, Solar Energy 27 (1981) 1, and Hollands and Huget, Solar Energy 30 (1983) 195: how often a day
    of a month is how clear, given the month's mean (as in Duffie and Beckman, section 2.9).
[2] Graham, Hollands and Huget, Solar Energy 40 (1988) 83: one day after another, in normal space.
"""
from dataclasses import dataclass
from functools import cache
from math import erf, exp, log, sqrt
from random import Random

from monitor.parameters import table
from monitor.planning.climate.between import CLEARNESS_LIMITS, Climate

P = table("planning/climate", "days")
LEAST_SHARE, LEAST_SHARE_TROPICS, TROPICS_DEG = P.number("least_share"), P.number("least_share_tropics"), P.number("tropics_deg")
KEEPS = P.number("autocorrelation")
YEAR_SIGMA_FRAC = P.number("year_sigma_frac")
SWING = P.number("swing_clearness")
WARMER_SIGMA_C, WARMER_KEEPS = P.number("warmer_sigma_c"), P.number("warmer_keeps")


@dataclass(frozen=True, slots=True)
class Day:
    """One day: how clear, how warm on average [°C], and by how much its warmest hour is above its coolest [K]."""

    clearness: float
    air_c: float
    swing_k: float


def clearest(mean_clearness: float) -> float:
    """The clearest day in a month of this mean [1]."""
    return 0.6313 + 0.267 * mean_clearness - 11.9 * (mean_clearness - 0.75) ** 8


def darkest(mean_clearness: float, latitude_deg: float) -> float:
    """The darkest day in a month of this mean [1]; in the tropics, where clouds come by the hour and not by the day, it is less dark."""
    share = max(1 - abs(latitude_deg) / TROPICS_DEG, 0.0)
    return mean_clearness * (LEAST_SHARE + share * (LEAST_SHARE_TROPICS - LEAST_SHARE))


@cache
def _shape(mean_clearness: float, least: float) -> tuple[float, float]:
    """gamma of the distribution exp(gamma k) between the darkest and the clearest day, and that day."""
    top = max(clearest(mean_clearness), mean_clearness + 0.03)
    low, high = -200.0, 400.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if _mean(middle, least, top) < mean_clearness else (low, middle)
    return (low + high) / 2, top


def _mean(gamma: float, least: float, top: float) -> float:
    """Mean of the distribution."""
    if abs(gamma) < 1e-6:
        return (least + top) / 2
    width = gamma * (top - least)
    if width > 500:
        return top - 1 / gamma
    if width < -500:
        return least - 1 / gamma
    grown = exp(width)
    return (top * grown - least) / (grown - 1) - 1 / gamma


def clearness_at(mean_clearness: float, share: float, latitude_deg: float = 45.0) -> float:
    """Clearness that this share of the days of a month stay below.

    mean_clearness: of the month; share: 0 to 1; latitude_deg: of the place [°].
    """
    mean = round(min(max(mean_clearness, 0.05), 0.82), 3)
    least = round(darkest(mean, latitude_deg), 3)
    gamma, top = _shape(mean, least)
    if abs(gamma) < 1e-6:
        return least + share * (top - least)
    width = gamma * (top - least)
    if width > 0:
        return top + log(max(exp(-width) + share * (1 - exp(-width)), 1e-300)) / gamma
    return least + log(1 + share * (exp(width) - 1)) / gamma


def draw_days(climate: Climate, months: list[int], chance: Random, certain: bool = False) -> list[Day]:
    """Days one after another, as chance has them.

    climate: of the place; months: month of each day, 0 to 11; chance: where they are drawn from; certain: the means are taken as
    exact, and this year as a usual one.
    """
    doubt, year, air = chance.gauss(0, 1), [chance.gauss(0, 1) for _ in range(12)], chance.gauss(0, 1)
    if certain:
        doubt, year, air = 0.0, [0.0] * 12, 0.0
    low, high = CLEARNESS_LIMITS
    means = [min(max(k * (1 + YEAR_SIGMA_FRAC * y) + s * doubt, min(low, k)), max(high, k))
             for k, s, y in zip(climate.clearness, climate.clearness_sigma, year, strict=True)]
    z, warmer, days = chance.gauss(0, 1), chance.gauss(0, 1), []
    for month in months:
        clear = clearness_at(means[month], 0.5 * (1 + erf(z / sqrt(2))), climate.latitude_deg)
        days.append(Day(clear, climate.air_c[month] + climate.air_sigma_c * air + WARMER_SIGMA_C * warmer, (clear / SWING) ** 2))
        z = KEEPS * z + sqrt(1 - KEEPS**2) * chance.gauss(0, 1)
        warmer = WARMER_KEEPS * warmer + sqrt(1 - WARMER_KEEPS**2) * chance.gauss(0, 1)
    return days
