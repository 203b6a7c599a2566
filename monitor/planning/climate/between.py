"""The climate of any place: what the nearest known places say, with a doubt that grows with distance.

Not sun itself but clearness (the sun's share that comes through the air) and temperature at sea level are carried from place to
place: simple kriging (Matheron, Economic Geology 58 (1963) 1246) of what is left once a trend by latitude, season and height is
taken off.
"""
from dataclasses import dataclass, replace
from functools import cache
from math import cos, exp, pi, sin, sqrt

from monitor.findings import Z95
from monitor.parameters import table
from monitor.planning.climate import sky
from monitor.planning.climate.places import Place, describe, distance_km, places

P = table("planning/climate", "between")
CLEARNESS_TREND, AIR_TREND = P.numbers("clearness_trend"), P.numbers("air_trend")
NEIGHBOURS = P.count("neighbours")
SILL, RANGE_KM = P.number("clearness_sill"), P.number("clearness_range_km")
NUGGET, NUGGET_MEMORY = P.number("clearness_nugget"), P.number("clearness_nugget_memory")
AIR_SILL, AIR_RANGE_KM, AIR_NUGGET = P.number("air_sill"), P.number("air_range_km"), P.number("air_nugget")
LAPSE_K_PER_M = P.number("lapse_k_per_m")
CLEARNESS_LIMITS, HEIGHT_LIMITS_M = P.numbers("clearness_limits"), P.numbers("heights_m")
SAME_KM, DARK_KWH_M2 = P.number("same_km"), P.number("dark_kwh_m2")


@dataclass(frozen=True, slots=True)
class Climate:
    """Twelve months of one place.

    clearness : of each month's mean; clearness_sigma : one standard deviation, 0 for the owner's own figures
    air_c : mean temperature [°C]; air_sigma_c : one standard deviation [K]
    basis : where it comes from, for the page; month_basis : what goes before it in single months, with its joining word
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    height_m: float
    clearness: tuple[float, ...]
    clearness_sigma: tuple[float, ...]
    air_c: tuple[float, ...]
    air_sigma_c: float
    basis: str
    month_basis: tuple[str, ...] = ("",) * 12

    @property
    def sun_kwh_m2_day(self) -> tuple[float, ...]:
        """A day's sun on the level in each month [kWh/m2]."""
        return tuple(k * h for k, h in zip(self.clearness, sky.monthly_extraterrestrial_kwh_m2(self.latitude_deg), strict=True))

    def sun_range_kwh_m2_day(self, month: int) -> tuple[float, float]:
        """95 % range of a month's mean sun on the level [kWh/m2 a day]; month: 0 to 11."""
        outside = sky.monthly_extraterrestrial_kwh_m2(self.latitude_deg)[month]
        middle, spread = self.clearness[month], Z95 * self.clearness_sigma[month]
        low, high = CLEARNESS_LIMITS
        return max(middle - spread, min(low, middle)) * outside, min(middle + spread, max(high, middle)) * outside


def trend(coefficients: tuple[float, ...], latitude_deg: float, month: int, height_m: float = 0.0) -> float:
    """What latitude, season and (where there is an eleventh term) height say alone.

    coefficients: of the terms; latitude_deg: north positive [°]; month: 0 to 11; height_m: above the sea [m].
    """
    x, a, phase = latitude_deg / 60, abs(latitude_deg) / 60, 2 * pi * (month + 0.5) / 12
    c, s = cos(phase), sin(phase)
    terms = (1.0, a, a * a, a**3, x * c, x * a * c, x * a * a * c, x * s, x * a * s, x * a * a * s, height_m / 1000)
    return sum(k * term for k, term in zip(coefficients, terms, strict=False))


@cache
def _residuals(place: Place) -> tuple[tuple[float, ...], tuple[float, ...] | None]:
    """What a place has beyond the trend: clearness, and temperature at sea level."""
    outside = sky.monthly_extraterrestrial_kwh_m2(place.latitude_deg)
    clear = tuple(sun / h - _clear_trend(place.latitude_deg, m, place.height_m) if h > DARK_KWH_M2 else 0.0
                  for m, (sun, h) in enumerate(zip(place.sun_kwh_m2_day, outside, strict=True)))
    air = None if place.air_c is None else tuple(
        t + LAPSE_K_PER_M * place.height_m - trend(AIR_TREND, place.latitude_deg, m) for m, t in enumerate(place.air_c))
    return clear, air


def _clear_trend(latitude_deg: float, month: int, height_m: float) -> float:
    return trend(CLEARNESS_TREND, latitude_deg, month, height_m)


def climate_at(latitude_deg: float, longitude_deg: float, height_m: float | None = None, known: tuple[Place, ...] | None = None,
               name: str = "") -> Climate:
    """The climate of any place from the known ones around it.

    latitude_deg, longitude_deg: north and east positive [°]; height_m: above the sea [m], None: as the nearest known place;
    known: the places to ask, None: all; name: what the place is called.

    Raises
    ------
    ValueError : the place is not on the earth, in one sentence
    """
    if not -90 <= latitude_deg <= 90:
        raise ValueError(f"latitude is {latitude_deg:g}: it must lie between -90 and 90, south negative")
    if not -180 <= longitude_deg <= 180:
        raise ValueError(f"longitude is {longitude_deg:g}: it must lie between -180 and 180, west negative")
    if height_m is not None and not HEIGHT_LIMITS_M[0] <= height_m <= HEIGHT_LIMITS_M[1]:
        raise ValueError(f"height is {height_m:g} m: it must lie between {HEIGHT_LIMITS_M[0]:g} and "
                         f"{HEIGHT_LIMITS_M[1]:g} m, where roads go")
    near = sorted(((distance_km(latitude_deg, longitude_deg, p.latitude_deg, p.longitude_deg), k, p)
                   for k, p in enumerate(known or places())))
    first_km, _, first = near[0]
    height = first.height_m if height_m is None else height_m
    around = [(km, p) for km, _, p in near[:NEIGHBOURS]]
    weights, variance = _kriging([(km, p, NUGGET_MEMORY if p.source == "memory" else NUGGET) for km, p in around], SILL, RANGE_KM)
    clear = tuple(_clear_trend(latitude_deg, m, height) + sum(w * _residuals(p)[0][m] for w, (_, p) in zip(weights, around, strict=True))
                  for m in range(12))
    with_air = [(km, p) for km, _, p in near if p.air_c is not None][:NEIGHBOURS]
    air_weights, air_variance = _kriging([(km, p, AIR_NUGGET) for km, p in with_air], AIR_SILL, AIR_RANGE_KM)
    air = tuple(trend(AIR_TREND, latitude_deg, m) - LAPSE_K_PER_M * height
                + sum(w * (_residuals(p)[1] or (0.0,) * 12)[m] for w, (_, p) in zip(air_weights, with_air, strict=True)) for m in range(12))
    low, high = CLEARNESS_LIMITS
    basis = (f"figures of {describe(first)}, {first.source}, and its neighbours" if first_km < SAME_KM else
             f"between known places; the nearest is {describe(first)}, {first_km:.0f} km away")
    return Climate(name or f"{latitude_deg:.2f}, {longitude_deg:.2f}", latitude_deg, longitude_deg, height,
                   tuple(min(max(k, low), high) for k in clear), (sqrt(variance + NUGGET),) * 12, air,
                   sqrt(air_variance + AIR_NUGGET), basis)


def climate_of(place: Place) -> Climate:
    """The climate of a known place: its own figures, with the doubt of one typical year; from memory with more."""
    around = climate_at(place.latitude_deg, place.longitude_deg, place.height_m, name=describe(place))
    outside = sky.monthly_extraterrestrial_kwh_m2(place.latitude_deg)
    clear = tuple(sun / h if h > DARK_KWH_M2 else k for sun, h, k in zip(place.sun_kwh_m2_day, outside, around.clearness, strict=True))
    sigma = sqrt(NUGGET_MEMORY if place.source == "memory" else NUGGET)
    written = "from memory" if place.source == "memory" else place.source
    return replace(around, clearness=clear, clearness_sigma=(sigma,) * 12, air_c=place.air_c or around.air_c,
                   air_sigma_c=sqrt(AIR_NUGGET) if place.air_c else around.air_sigma_c,
                   basis=f"monthly means of {describe(place)} ({written})")


def with_own_figures(climate: Climate, sun_kwh_m2_day: tuple[float, ...] | None = None, air_c: tuple[float, ...] | None = None) -> Climate:
    """The climate with the owner's own monthly figures in place of ours.

    climate: of the place; sun_kwh_m2_day: a day's sun on the level [kWh/m2], twelve months; air_c: mean temperature [°C], twelve months.

    Raises
    ------
    ValueError : not twelve, or more sun than there is outside the atmosphere
    """
    changed = climate
    if sun_kwh_m2_day is not None:
        _twelve(sun_kwh_m2_day, "sun")
        outside = sky.monthly_extraterrestrial_kwh_m2(climate.latitude_deg)
        for m, (sun, h) in enumerate(zip(sun_kwh_m2_day, outside, strict=True)):
            if not 0 <= sun <= CLEARNESS_LIMITS[1] * h + 0.2:
                raise ValueError(f"sun of month {m + 1} is {sun:g} kWh/m2 a day: at {climate.latitude_deg:.0f} degrees no more than "
                                 f"{CLEARNESS_LIMITS[1] * h:.1f} comes through the clearest air")
        changed = replace(changed, clearness=tuple(s / max(h, DARK_KWH_M2) for s, h in zip(sun_kwh_m2_day, outside, strict=True)),
                          clearness_sigma=(0.0,) * 12, basis="the owner's own sun; " + climate.basis)
    if air_c is not None:
        _twelve(air_c, "temperature")
        if not all(-60 <= t <= 50 for t in air_c):
            raise ValueError("a month's mean temperature must lie between -60 and 50 °C")
        changed = replace(changed, air_c=tuple(air_c), air_sigma_c=0.0, basis="the owner's own temperatures; " + changed.basis)
    return changed


def _twelve(figures: tuple[float, ...], what: str) -> None:
    if len(figures) != 12:
        raise ValueError(f"{what}: {len(figures)} figures; write twelve, January first")


def _kriging(around: list[tuple[float, Place, float]], sill: float, range_km: float) -> tuple[list[float], float]:
    """Weights of the known places and the variance that is left, nugget of the place itself apart.

    around: distance [km], place and variance of its own figure; sill: variance about the trend; range_km: how soon it is forgotten.
    """
    n = len(around)
    rows = []
    for i, (_, a, nugget) in enumerate(around):
        row = [sill * exp(-distance_km(a.latitude_deg, a.longitude_deg, b.latitude_deg, b.longitude_deg) / range_km) for _, b, _ in around]
        row[i] += nugget
        rows.append([*row, sill * exp(-around[i][0] / range_km)])
    for i in range(n):                              # the matrix is positive definite: no pivoting is needed
        pivot = rows[i]
        for j in range(i + 1, n):
            factor = rows[j][i] / pivot[i]
            if factor:
                rows[j] = [x - factor * y for x, y in zip(rows[j], pivot, strict=True)]
    weights = [0.0] * n
    for i in reversed(range(n)):
        weights[i] = (rows[i][n] - sum(rows[i][j] * weights[j] for j in range(i + 1, n))) / rows[i][i]
    covered = sum(w * sill * exp(-km / range_km) for w, (km, _, _) in zip(weights, around, strict=True))
    return weights, max(sill - covered, 0.0)
