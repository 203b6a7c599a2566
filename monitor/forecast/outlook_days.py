"""Past days ready to be lived again from now on; before there are any, a wide honest guess."""
from math import exp, log, pi, sin, sqrt

from monitor.forecast.night import Days
from monitor.parameters import table
from monitor.usage import history
from monitor.usage.harvest import WARMTH_LIMIT, WARMTH_PER_K
from monitor.usage.history import DAY_SLOTS, KEPT_DAYS, History

P = table("forecast", "outlook_days")
HALF_LIFE_DAYS = P.number("half_life_days")
LOAD_SIGMA, SKY_SIGMA, BELIEF_DAYS = P.number("load_sigma"), P.number("sky_sigma"), P.number("belief_days")
NO_DAY_SIGMA = P.number("no_day_sigma")
LEAST_SIGMA = P.number("least_sigma")
ALIKE_SIGMA, SUN_FLOOR = P.number("alike_sigma"), P.number("sun_floor")
TODAY_SHARE, TODAY_LIMIT = P.number("today_share"), P.number("today_limit")
FIRST_LOAD_PER_AH, FIRST_SUN_PER_AH = P.number("first_load_per_ah"), P.number("first_sun_per_ah")
ALIKE_LEAST, GUESS_SLOTS, DAY_TO_DAY_LN = P.number("alike_least"), P.count("guess_slots"), P.number("day_to_day_ln")
EVENING_FROM_HOUR, EVENING_TO_HOUR, EVENING_TIMES = P.count("evening_from_hour"), P.count("evening_to_hour"), P.number("evening_times")
DAY_TIMES, SUN_UP_HOUR, SUN_HOURS = P.number("day_times"), P.count("sun_up_hour"), P.count("sun_hours")


def days_from(past: History, slot: int, temperature_c: float | None, rated_capacity_ah: float) -> tuple[Days, int]:
    """All past days that start at this time of day, weighted by age, and how many there are.

    slot: half hour of the solar day; temperature_c: of the battery [°C]; rated_capacity_ah: capacity on the label [Ah]; past: load and
    sun of the last weeks, by half hour.
    """
    raw = []
    for age in range(1, KEPT_DAYS + 1):
        at = slot - age * DAY_SLOTS
        load = history.window(past.load_a, past.first_slot, at)
        sky = history.window(past.harvest_a, past.first_slot, at)
        if load and sky:
            raw.append((age, load, sky, past.temperature_c[at - past.first_slot]))
    if not raw:
        return _first_guess(past, slot, rated_capacity_ah), 0
    load_profile = history.profile([row[1] for row in raw], 0.0)
    sky_profile = history.profile([row[2] for row in raw], 0.0)
    loads, skies = [], []
    today_ah = _since_midnight(past, slot)
    for age, load, sky, then_c in raw:
        weight = 0.5 ** (age / HALF_LIFE_DAYS)
        warmer_k = 0.0 if temperature_c is None or then_c is None else temperature_c - then_c
        factor = exp(min(max(WARMTH_PER_K * warmer_k, -WARMTH_LIMIT), WARMTH_LIMIT))
        loads.append((weight, factor, history.fill_slot(load, load_profile)))
        brighter = log((today_ah + SUN_FLOOR) / (_since_midnight(past, slot - age * DAY_SLOTS) + SUN_FLOOR))
        alike = exp(-0.5 * (brighter / ALIKE_SIGMA) ** 2) + ALIKE_LEAST
        skies.append((weight * alike, _rest_of_today(history.fill_slot(sky, sky_profile), slot, brighter)))
    return Days(
        tuple(loads), tuple(skies), _beyond([sum(day) for _, _, day in loads], LOAD_SIGMA),
        _beyond([sum(day) for _, day in skies], SKY_SIGMA)), len(raw)


def _rest_of_today(sky: tuple[float, ...], slot: int, brighter: float) -> tuple[float, ...]:
    """A past day's sun whose part before midnight is moved towards a day that has been brighter (in ln) so far."""
    left = DAY_SLOTS - slot % DAY_SLOTS
    factor = exp(min(max(TODAY_SHARE * brighter, -TODAY_LIMIT), TODAY_LIMIT))
    return (*(factor * value for value in sky[:left]), *sky[left:])


def _beyond(totals: list[float], believed: float) -> float:
    """Spread [ln] that days to come have beyond the one of the days that were seen.

    The days seen and a prior belief give the variance of days; the mean of n days is itself
    unsure by a part 1/n of it; what the days seen already scatter is taken off.
    """
    count = len(totals)
    logs = [log(max(total, 1.0)) for total in totals]
    mean = sum(logs) / count
    scatter = sum((value - mean) ** 2 for value in logs) / count
    variance = (count * scatter + BELIEF_DAYS * believed**2) / (count + BELIEF_DAYS) * (1 + 1 / count)
    return sqrt(max(variance - scatter, LEAST_SIGMA**2))


def _since_midnight(past: History, slot: int) -> float:
    """Harvest of a day up to a slot [slot amperes]."""
    first = slot - slot % DAY_SLOTS - past.first_slot
    return sum(value or 0.0 for value in past.harvest_a[max(first, 0):max(slot - past.first_slot, 0)])


def _first_guess(past: History, slot: int, rated_capacity_ah: float) -> Days:
    seen = [value for value in past.load_a if value is not None]
    guess_a = FIRST_LOAD_PER_AH * rated_capacity_ah
    # What was seen so far counts, held against the guess as if that were six hours of measuring.
    mean_a = (sum(seen) + GUESS_SLOTS * guess_a) / (len(seen) + GUESS_SLOTS)
    hours = [((slot + i) % DAY_SLOTS) / 2 for i in range(DAY_SLOTS)]
    load = tuple(mean_a * (EVENING_TIMES if EVENING_FROM_HOUR <= hour < EVENING_TO_HOUR else DAY_TIMES) for hour in hours)
    peak_a = FIRST_SUN_PER_AH * rated_capacity_ah
    sky = tuple(peak_a * max(sin(pi * (hour - SUN_UP_HOUR) / SUN_HOURS), 0.0) if 0 < hour - SUN_UP_HOUR < SUN_HOURS else 0.0
                for hour in hours)
    load_sigma = NO_DAY_SIGMA * sqrt(GUESS_SLOTS / (len(seen) + GUESS_SLOTS)) + DAY_TO_DAY_LN
    return Days(((1.0, 1.0, load),), ((1.0, sky),), load_sigma, NO_DAY_SIGMA)
