"""One way in which a trip may turn out: sun, loads and warmth hour by hour, drawn from climate, catalogue and chance."""
from collections.abc import Sequence
from math import cos, exp, pi
from random import Random

from monitor.parameters import table
from monitor.planning.climate import sky
from monitor.planning.climate.days import draw_days
from monitor.planning.life_engine import LifeDay
from monitor.planning.load_catalogue import LOAD_V, Load, follows_warmth, steady_power_w, warmth_power_w
from monitor.planning.trip import Trip

P, LOADS = table("planning", "panel"), table("planning", "loads")
HEAT_PER_K = P.number("heat_per_k")
DAY_SIGMA = LOADS.number("use_day_sigma_ln")
WALL_K, REST_DAYS = table("planning", "plan").number("wall_k"), table("planning", "plan").count("rest_days")
W = table("planning", "trip_weather")
DRIVES_FROM, SHORE_FROM, SHORE_UNTIL = W.count("drives_from_hour"), W.count("shore_from_hour"), W.count("shore_until_hour")
WARMEST, FOLLOWS = W.count("warmest_hour"), W.number("battery_follows")
#: Share of a day's swing of temperature on each hour, about its mean (a cosine, warmest at WARMEST).
WAVE = tuple(0.5 * cos(2 * pi * (h + 0.5 - WARMEST) / 24) for h in range(24))


def draw_trip(trip: Trip, loads: Sequence[Load], chance: Random, tilt_deg: float = 0.0, mount: str = "roof") -> list[LifeDay]:
    """The days of a trip as chance has them, REST_DAYS more at the beginning.

    trip: where and how; loads: what is run; chance: where it is drawn from; tilt_deg: of the panel [°]; mount: roof or free.
    """
    found: list[LifeDay] = []
    factors = [_about_one(load.sigma_ln, chance) for load in loads]
    until_drive, until_shore = 0, 0
    battery_c: float | None = None
    first = True
    for stop in trip.stops:
        days = stop.days + (REST_DAYS if first else 0)
        start = sky.MONTH_STARTS[stop.month] + 1 - (REST_DAYS if first else 0)
        first = False
        drawn = draw_days(stop.climate, [stop.month] * days, chance)
        for k, day in enumerate(drawn):
            above = sky.day_sky(stop.climate.latitude_deg, (start + k - 1) % 365 + 1, tilt_deg)
            air = [day.air_c + day.swing_k * w for w in WAVE]
            battery_c = day.air_c + WALL_K if battery_c is None else battery_c + FOLLOWS * (day.air_c + WALL_K - battery_c)
            drive, until_drive = _every(until_drive, trip.standing_days + 1) if trip.drive_hours else (False, 0)
            shore, until_shore = _every(until_shore, trip.shore_every_days) if trip.shore_every_days else (False, 0)
            load_a, fridge_a = _loads(trip, loads, factors, above, air, chance)
            found.append(LifeDay(panel_wh(above, day.clearness, air, tilt_deg, mount), load_a, fridge_a,
                                 _drive(trip.drive_hours) if drive else [0.0] * 24,
                                 [1.0 if shore and (h >= SHORE_FROM or h < SHORE_UNTIL) else 0.0 for h in range(24)],
                                 day.air_c, battery_c, stop.month))
    return found


def _about_one(sigma_ln: float, chance: Random) -> float:
    """A factor whose mean is 1: what is said of a load is its mean use, over days and over vehicles."""
    return exp(chance.gauss(-sigma_ln**2 / 2, sigma_ln))


def _every(until: int, days: int) -> tuple[bool, int]:
    """Whether it is today, and how many days until the next."""
    return (True, days - 1) if until == 0 else (False, until - 1)


def _drive(hours: float) -> list[float]:
    """How much of each hour is driven: from DRIVES_FROM on, earlier where the day is too short."""
    begin = min(DRIVES_FROM, int(24 - hours))
    return [min(max(hours - (h - begin), 0.0), 1.0) if h >= begin else 0.0 for h in range(24)]


def panel_wh(above: sky.DaySky, clearness: float, air: list[float], tilt_deg: float, mount: str) -> list[float]:
    """What a watt of panel gives in each hour [Wh], by the sun that gets through its glass, how weak that is, and its heat.

    above: the day's sky; clearness: the day's sun over that outside the atmosphere; air: of each hour [°C]; tilt_deg, mount: of the
    panel [°].
    """
    if not above.outside_kwh_m2:
        return [0.0] * 24
    light = sky.panel_sun_kw_m2(above, clearness, sky.daily_diffuse_frac(clearness, above.sunset_rad), tilt_deg, behind_glass=True)
    return [g * sky.weak_light_frac(g) * (1 + HEAT_PER_K * (sky.module_temperature_c(g, t, mount=mount) - 25)) if g > 0 else 0.0
            for g, t in zip(light, air, strict=True)]


def _loads(trip: Trip, loads: Sequence[Load], factors: list[float], above: sky.DaySky, air: list[float],
           chance: Random) -> tuple[list[float], list[float]]:
    """Amperes of a day: all loads but the fridges, and the fridges."""
    steady, cold, dark = [0.0] * 24, [0.0] * 24, above.dark
    for load, factor in zip(loads, factors, strict=True):
        if not follows_warmth(load):
            today = factor * _about_one(DAY_SIGMA, chance) / LOAD_V
            for h, watts in enumerate(steady_power_w(load, dark)):
                steady[h] += watts * today
        elif load.is_fridge:
            for h in range(0, 24, 3):
                amperes = factor * warmth_power_w(load, air[h + 1], max(air[h + 1] + trip.cabin_k, trip.heated_c)) / LOAD_V
                cold[h] += amperes
                cold[h + 1] += amperes
                cold[h + 2] += amperes
        else:
            for h in range(24):
                steady[h] += factor * warmth_power_w(load, air[h], max(air[h] + trip.cabin_k, trip.heated_c)) / LOAD_V
    return steady, cold
