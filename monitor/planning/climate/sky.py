"""The sun over a level or tilted panel: outside the atmosphere, through the clouds of a day, hour by hour; and how hot it gets.

Sources
-------
[1] Spencer, Search 2 (1971) 172: declination and distance of the sun.
[2] Erbs, Klein and Duffie, Solar Energy 28 (1982) 293: diffuse share of a day and of a month.
[3] Collares-Pereira and Rabl, Solar Energy 22 (1979) 155: hours of a day's sun; Liu and Jordan, Solar Energy 4 (1960) 1: of the diffuse.
[4] Liu and Jordan, ASHRAE J. 3 (1962) 53: the isotropic sky on a tilted plane; Klein, Solar Energy 19 (1977) 325.
[6] Hay and Davies 1980, Klucher 1979 and Reindl, Beckman and Duffie, Solar Energy 45 (1990) 9, as Duffie and Beckman, section 2.16,
    put them together (from memory): a sky that is brighter around the sun and near the horizon.
[5] Faiman, Progress in Photovoltaics 16 (2008) 307: temperature of a module (IEC 61853-2).
[7] Souka and Safwat, Solar Energy 10 (1966) 170, and ASHRAE 93-77: what glass lets through of light that comes from the side.
[8] Huld et al., Solar Energy Materials and Solar Cells 95 (2011) 3359, by way of open libraries: silicon in weak light.
"""
from dataclasses import dataclass
from functools import cache
from math import acos, cos, log, pi, radians, sin, sqrt, tan

from monitor.parameters import table

P = table("planning/climate", "sky")
SOLAR_CONSTANT_KW_M2 = P.number("solar_constant_kw_m2")
ALBEDO = P.number("albedo")
LOWEST_SIN = P.number("lowest_sin")
GLASS_B0, WEAK_LN, WEAK_LN2 = P.number("glass_b0"), P.number("weak_light_ln"), P.number("weak_light_ln2")
FAIMAN = {"free": (P.number("free_u0"), P.number("free_u1")), "roof": (P.number("roof_u0"), P.number("roof_u1"))}
#: Days of each month in a common year (definition).
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
#: Day of the year before each month begins.
MONTH_STARTS = tuple(sum(MONTH_DAYS[:m]) for m in range(12))


def declination_rad(day_of_year: float) -> float:
    """The sun's declination [rad] [1]."""
    g = 2 * pi * (day_of_year - 1) / 365
    return (0.006918 - 0.399912 * cos(g) + 0.070257 * sin(g) - 0.006758 * cos(2 * g) + 0.000907 * sin(2 * g)
            - 0.002697 * cos(3 * g) + 0.00148 * sin(3 * g))


def distance_factor(day_of_year: float) -> float:
    """Sunlight outside the atmosphere over its yearly mean [1]."""
    g = 2 * pi * (day_of_year - 1) / 365
    return 1.000110 + 0.034221 * cos(g) + 0.001280 * sin(g) + 0.000719 * cos(2 * g) + 0.000077 * sin(2 * g)


def sunset_angle_rad(latitude_deg: float, day_of_year: float) -> float:
    """Hour angle of sunset on the level [rad]: 0 in the polar night, pi where the sun does not set."""
    return acos(min(max(-tan(radians(latitude_deg)) * tan(declination_rad(day_of_year)), -1.0), 1.0))


def extraterrestrial_kwh_m2(latitude_deg: float, day_of_year: float) -> float:
    """A day's sun on the level outside the atmosphere [kWh/m2]."""
    phi, delta, ws = radians(latitude_deg), declination_rad(day_of_year), sunset_angle_rad(latitude_deg, day_of_year)
    return (24 / pi * SOLAR_CONSTANT_KW_M2 * distance_factor(day_of_year)
            * (cos(phi) * cos(delta) * sin(ws) + ws * sin(phi) * sin(delta)))


@cache
def monthly_extraterrestrial_kwh_m2(latitude_deg: float) -> tuple[float, ...]:
    """The same, mean of each of the twelve months [kWh/m2 a day]."""
    return tuple(sum(extraterrestrial_kwh_m2(latitude_deg, MONTH_STARTS[m] + d + 1) for d in range(n)) / n
                 for m, n in enumerate(MONTH_DAYS))


def daily_diffuse_frac(clearness: float, sunset_rad: float) -> float:
    """Share of a day's sun that comes from all over the sky [2].

    clearness: the day's sun over that outside the atmosphere; sunset_rad: hour angle of sunset [rad].
    """
    k = clearness
    if sunset_rad < 1.4208:
        return 1 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4 if k < 0.715 else 0.143
    return 1 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3 if k < 0.722 else 0.175


def hour_share(sunset_rad: float, angle_rad: float) -> float:
    """Share of a day's sun that falls in the hour around an hour angle [3], not yet normalised over the day.

    sunset_rad: hour angle of sunset [rad]; angle_rad: of the middle of the hour, 0 at noon [rad].
    """
    ws, w = sunset_rad, angle_rad
    if abs(w) >= ws:
        return 0.0
    a, b = 0.409 + 0.5016 * sin(ws - pi / 3), 0.6609 - 0.4767 * sin(ws - pi / 3)
    return pi / 24 * (a + b * cos(w)) * (cos(w) - cos(ws)) / (sin(ws) - ws * cos(ws))


def hour_share_diffuse(sunset_rad: float, angle_rad: float) -> float:
    """The same of the diffuse part alone [3]."""
    ws, w = sunset_rad, angle_rad
    if abs(w) >= ws:
        return 0.0
    return pi / 24 * (cos(w) - cos(ws)) / (sin(ws) - ws * cos(ws))


@dataclass(frozen=True, slots=True)
class DaySky:
    """One day of the year over one place, 24 hours from solar midnight on.

    outside_kwh_m2 : the day's sun outside the atmosphere; sunset_rad : hour angle of sunset
    whole, diffuse : share of the day's sun and of its diffuse part in each hour (sum 1 where there is any sun)
    beam_ratio : beam on the panel over beam on the level, each hour
    glass : part of the beam that the panel's glass lets through, each hour
    """

    outside_kwh_m2: float
    sunset_rad: float
    whole: tuple[float, ...]
    diffuse: tuple[float, ...]
    beam_ratio: tuple[float, ...]
    glass: tuple[float, ...]

    @property
    def dark(self) -> tuple[bool, ...]:
        """Whether each hour is without any sun."""
        return tuple(share <= 0 for share in self.whole)


@cache
def day_sky(latitude_deg: float, day_of_year: int, tilt_deg: float = 0.0) -> DaySky:
    """The sky of a day.

    latitude_deg: north positive [°]; day_of_year: 1 to 365; tilt_deg: of the panel, towards the equator [°].
    """
    delta, ws = declination_rad(day_of_year), sunset_angle_rad(latitude_deg, day_of_year)
    angles = [(h + 0.5 - 12) * pi / 12 for h in range(24)]
    if ws < 0.02:
        return DaySky(0.0, ws, *((0.0,) * 24,) * 4)
    whole, diffuse = [hour_share(ws, w) for w in angles], [hour_share_diffuse(ws, w) for w in angles]
    phi = radians(latitude_deg)
    turned = phi - radians(tilt_deg) if latitude_deg >= 0 else phi + radians(tilt_deg)
    ratio, through = [], []
    for w in angles:
        level = sin(phi) * sin(delta) + cos(phi) * cos(delta) * cos(w)
        panel = sin(turned) * sin(delta) + cos(turned) * cos(delta) * cos(w)
        low = max(level, LOWEST_SIN)
        ratio.append(max(panel + low - level, 0.0) / low)
        through.append(glass_frac(max(panel, low)))
    return DaySky(extraterrestrial_kwh_m2(latitude_deg, day_of_year), ws, _normalise(whole), _normalise(diffuse), tuple(ratio),
                  tuple(through))


def glass_frac(facing: float) -> float:
    """Part of the beam that a panel's glass lets through, over that of a beam at right angles [7].

    facing: cosine of the angle between the beam and the panel's normal.
    """
    return max(1 - GLASS_B0 * (1 / facing - 1), 0.0)


def _normalise(shares: list[float]) -> tuple[float, ...]:
    total = sum(shares)
    return tuple(share / total for share in shares) if total > 0 else tuple(shares)


def panel_sun_kw_m2(sky: DaySky, clearness: float, diffuse_frac: float, tilt_deg: float = 0.0, even: bool = False,
                    behind_glass: bool = False) -> list[float]:
    """Sun on the panel hour by hour [kW/m2], of a day of this clearness [6].

    The diffuse part comes from around the sun as far as the beam comes through the air, the rest from all over the sky, more from near
    the horizon.

    sky: of the day; clearness: the day's sun over that outside; diffuse_frac: share of it that is diffuse; tilt_deg: of the panel [°];
    even: the sky is as bright all over [4], which is too little on a steep panel under a low sun; behind_glass: what of it reaches
    the cells: of the diffuse part as much as of a level panel's even sky.
    """
    level, half = clearness * sky.outside_kwh_m2, radians(tilt_deg) / 2
    seen, ground = cos(half) ** 2, ALBEDO * sin(half) ** 2
    clear = 1 - GLASS_B0 if behind_glass else 1.0           # the mean of glass_frac() over a level panel's sky
    hours = []
    for whole, diffuse, ratio, glass in zip(sky.whole, sky.diffuse, sky.beam_ratio, sky.glass, strict=True):
        scattered = min(diffuse_frac * diffuse, whole)
        beam = whole - scattered
        around, bright = 0.0, 1.0
        if not even and diffuse > 0 and whole > 0:          # outside the air an hour has the share that its diffuse part has
            around, bright = min(clearness * beam / diffuse, 1.0), 1 + sqrt(beam / whole) * sin(half) ** 3
        through = glass if behind_glass else 1.0
        hours.append(level * ((beam + scattered * around) * ratio * through
                              + (scattered * (1 - around) * seen * bright + whole * ground) * clear))
    return hours


def weak_light_frac(sun_kw_m2: float) -> float:
    """Yield of a watt of silicon from weak light, over that from full sun [8].

    sun_kw_m2: that reaches the cells [kW/m2], more than 0.
    """
    strong = log(sun_kw_m2)
    return max(1 + WEAK_LN * strong + WEAK_LN2 * strong**2, 0.0)


def module_temperature_c(sun_kw_m2: float, air_c: float, wind_m_per_s: float = 1.0, mount: str = "free") -> float:
    """Temperature of a panel [°C] [5].

    sun_kw_m2: on it [kW/m2]; air_c: around it [°C]; wind_m_per_s: over it [m/s]; mount: "free", or "roof" where it lies close to one.
    """
    u0, u1 = FAIMAN[mount]
    return air_c + 1000 * sun_kw_m2 / (u0 + u1 * wind_m_per_s)
