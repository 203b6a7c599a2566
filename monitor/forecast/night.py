"""Many possible next three days: the battery run forward through whole past days of load and sun."""
from collections.abc import Sequence
from itertools import accumulate
from math import exp
from random import Random
from statistics import NormalDist

from monitor.parameters import table
from monitor.posterior import Posterior
from monitor.replacing import dataclass
from monitor.usage.history import DAY_SLOTS

STEP_H = 0.5
#: A stretch of the coming days: load by step [A], factor on it, sun by step [A].
Leg = tuple[Sequence[float], float, Sequence[float]]

P = table("forecast", "night")
FULL = P.number("full")
ACCEPTANCE_H = P.number("acceptance_h")
LATEST_SUN_SLOT = P.count("latest_sun_slot")


@dataclass(frozen=True, slots=True)
class Start:
    """Where all paths begin, and what is believed of charge and capacity there."""

    slot: int
    first_frac: float       # how much of the present slot is still to come
    posterior: Posterior
    reserve_frac: float
    below: bool             # the reserve is reached already
    lead_acid: bool
    kept_frac: float        # of what goes in, below gassing
    by_day: bool            # the sun is up: the night in question is the coming one


@dataclass(frozen=True, slots=True)
class Days:
    """Past days from this time of day on, by slot [A]: (weight, factor, load) and (weight, harvest)."""

    loads: tuple[tuple[float, float, tuple[float, ...]], ...]
    harvests: tuple[tuple[float, tuple[float, ...]], ...]
    load_sigma: float
    harvest_sigma: float


@dataclass(frozen=True, slots=True)
class Scenario:
    """One possible future. Ampere-hours are counted from the reserve up: 0 is the reserve.

    Times in hours from now; None: not within three days.
    """

    capacity_ah: float
    lowest_ah: float            # before solar takes over
    lowest_at_h: float
    reserve_at_h: float | None  # first time at the reserve at all
    sun_at_h: float | None
    full_at_h: float | None
    track_ah: list[float]       # now, then at the end of every step


def ends_h(first_frac: float) -> list[float]:
    """When each step of a path ends [h from now]: half hours for a day, then hours for two more."""
    first = STEP_H * first_frac
    day = [0.0, *(first + STEP_H * i for i in range(DAY_SLOTS))]
    return day + [day[-1] + 1.0 + i for i in range(DAY_SLOTS)]


def draw_scenarios(start: Start, days: Days, count: int, random: Random) -> list[Scenario]:
    """That many paths, each with its own charge and capacity, load day, sky day and their scales, all evenly spread.

    start: where it begins; days: the days they are drawn from; count: how many; random: a seeded source of chance.
    """
    normal = _spread(count)
    loads, skies = normal[:], normal[:]
    for column in (loads, skies):
        random.shuffle(column)
    batteries = start.posterior.draw(count, random)
    load_days = _draw_start([day[0] for day in days.loads], count, random)
    sky_days = _draw_start([day[0] for day in days.harvests], count, random)
    by_hour = [_hours(day[2]) for day in days.loads], [_hours(day[1]) for day in days.harvests]
    times = ends_h(start.first_frac)
    made = []
    for i in range(count):
        a, b = load_days[i], sky_days[i]
        more = exp(days.load_sigma * loads[i] - 0.5 * days.load_sigma**2)
        brighter = exp(days.harvest_sigma * skies[i] - 0.5 * days.harvest_sigma**2)
        legs: list[Leg] = [(days.loads[a][2], days.loads[a][1] * more, days.harvests[b][1])]
        for _ in range(2):
            # The day after a past day is the day that followed it, where that is known.
            a = a - 1 if a > 0 else load_days[int(random.random() * count)]
            b = b - 1 if b > 0 else sky_days[int(random.random() * count)]
            legs.append((by_hour[0][a], days.loads[a][1] * more, by_hour[1][b]))
        charge_frac, capacity = batteries[i]
        made.append(_run(start, legs, brighter, charge_frac - start.reserve_frac, capacity, times))
    return made


def _run(start: Start, legs: list[Leg], brighter: float, above: float, capacity: float, times: list[float]) -> Scenario:
    room_frac = 1.0 - start.reserve_frac
    room, ah = room_frac * capacity, min(above, room_frac) * capacity
    kept = start.kept_frac
    accepts = 1.0 / ACCEPTANCE_H if start.lead_acid else 1.0
    # By day and in the evening the sun is looked for from solar midnight on; in the small hours at once.
    at_slot = start.slot % DAY_SLOTS
    wait = 0 if at_slot < DAY_SLOTS // 2 and not start.by_day else DAY_SLOTS - at_slot
    latest = wait + LATEST_SUN_SLOT - (at_slot + wait) % DAY_SLOTS
    if latest > DAY_SLOTS:  # steps are hours from there on
        latest = DAY_SLOTS + (latest - DAY_SLOTS) // 2
    sun_step, step = -1, 0
    track = [ah]
    append = track.append
    step_h, usual_h = STEP_H * start.first_frac, STEP_H
    for load_day, factor, sky_day in legs:
        night = next((i for i, sky in enumerate(sky_day) if sky > 0.0), len(sky_day))
        if night > 3:  # no sun for a while: nothing but the load, summed up
            hours = step_h - usual_h
            track.extend([ah - factor * (used + load_day[0] * hours) for used in
                          accumulate(load * usual_h for load in load_day[:night])])
            ah, step, step_h = track[-1], step + night, usual_h
            rest = zip(load_day[night:], sky_day[night:], strict=True)
        else:
            rest = zip(load_day, sky_day, strict=True)
        for load, sky in rest:
            net = sky * brighter - load * factor
            if net > 0.0:
                if sun_step < 0 and step >= wait:
                    sun_step = step
                limit = (room - ah) * accepts
                ah += (limit if net > limit else net) * kept * step_h
            else:
                ah += net * step_h
            append(ah)
            step += 1
            step_h = usual_h
        step_h = usual_h = 1.0
    return _summarise_scenarios(track, times, sun_step, latest, room, capacity, start.below)


def _summarise_scenarios(
    track: list[float], times: list[float], sun_step: int, latest: int, room: float, capacity: float, below: bool,
) -> Scenario:
    if not 0 <= sun_step <= latest:
        sun_step = latest
    tonight = track[:sun_step + 1]
    lowest = min(tonight)
    reserve_at = full_at = None
    if lowest <= 0.0 or min(track) <= 0.0:
        # Below it already: what counts is the next time, if the sun lifts the charge over it first.
        up = next((i for i, value in enumerate(track[:sun_step + 1]) if value > 0.0), None)
        k = None if up is None else next((i for i in range(up + 1, len(track)) if track[i] <= 0.0), None)
        if up is None:
            reserve_at = None if below else 0.0
        elif k is not None:
            part = track[k - 1] / (track[k - 1] - track[k])
            reserve_at = times[k - 1] + part * (times[k] - times[k - 1])
    if max(track) > FULL * room:
        full_at = next(times[i] for i, value in enumerate(track) if value > FULL * room)
    return Scenario(capacity, lowest, times[tonight.index(lowest)], reserve_at, times[sun_step], full_at, track)


def _hours(day: tuple[float, ...]) -> list[float]:
    return [(a + b) / 2 for a, b in zip(day[::2], day[1::2], strict=True)]


def _spread(count: int) -> list[float]:
    normal = NormalDist()
    return [normal.inv_cdf((i + 0.5) / count) for i in range(count)]


def _draw_start(weights: list[float], count: int, random: Random) -> list[int]:
    """Indices in proportion to the weights, without the luck of independent draws."""
    total, reached, at, picks = sum(weights), 0.0, 0, []
    reached = weights[0] / total
    for i in range(count):
        while (i + 0.5) / count > reached and at < len(weights) - 1:
            at += 1
            reached += weights[at] / total
        picks.append(at)
    random.shuffle(picks)
    return picks
