"""A life: the loads and the sun of some weeks in quarter hours, apart from the battery they met."""
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import asin, pi, sin
from typing import TypeVar

from monitor.parameters import table

SLOT_H = 0.25
#: The same in seconds.
SLOT_S = SLOT_H * 3600.0

P = table("planning", "load_profile")
THROTTLED_FRAC, OPEN_SHARE = P.number("throttled_frac"), P.number("open_share")
LIGHT_SHARE, LIGHT_A = P.number("light_share"), P.number("light_a")
SKY_POWER = P.number("sky_power")
BRIGHT_SHAPE, OPEN_MOST = P.number("bright_shape"), P.number("open_most")


@dataclass(frozen=True, slots=True)
class Slot:
    """A quarter of an hour.

    sun_a is what the panel would have given (curtailed harvest already refilled, see refill), refilled_a what of it is refilled;
    engine_a what came from the engine or the mains, engine_on whether the engine ran. hour is the
    local or solar hour of its middle. known is False where the log has a gap. prevented_a is what loads would have
    taken more, had the battery not been so flat that they went off.
    """

    hour: float
    load_a: float
    sun_a: float
    engine_a: float = 0.0
    engine_on: bool = False
    temperature_c: float = 20.0
    known: bool = True
    prevented_a: float = 0.0
    refilled_a: float = 0.0


@dataclass(frozen=True, slots=True)
class LoggedSlot:
    """A quarter of an hour as the log has it, before refilling.

    charge_sigma_frac: one sigma of the charge, 0 to 1; cut: the battery was so flat that loads had gone off.
    """

    hour: float
    load_a: float | None
    harvest_a: float | None
    curtailed_frac: float = 0.0
    engine_a: float = 0.0
    engine_on: bool = False
    temperature_c: float | None = None
    charge_frac: float | None = None
    cut: bool = False
    charge_sigma_frac: float = 0.0


AnySlot = TypeVar("AnySlot", Slot, LoggedSlot)


def refill(rows: list[LoggedSlot], clearness_default: float = 0.75) -> list[Slot]:
    """The life behind a log: where the charger throttled, the harvest is a lower bound and is refilled.

    Refilled with the day's clearness (what its unthrottled hours brought, over what they bring on a clear day,
    0.05 to 1.25; clearness_default where they are too few) times the envelope, the harvest of a clear
    day at that hour. Gaps take the mean load of their hour and the sun of a clear day
    times clearness_default; they are marked not known. Where loads had gone off because the battery was flat, what
    they usually take in such a stretch beyond what flowed is prevented use.
    """
    envelope, usual = _envelope(rows), usual_a(rows)
    slots: list[Slot] = []
    for day in split_days(rows):
        seen = [(r.harvest_a, envelope[_bin(r.hour)]) for r in day if r.harvest_a is not None and r.curtailed_frac < THROTTLED_FRAC]
        bright_a = sum(bright for _, bright in seen)
        enough = bright_a > OPEN_SHARE * sum(envelope)
        clear = min(max(sum(harvest for harvest, _ in seen) / bright_a, 0.05), 1.25) if enough else clearness_default
        for row in day:
            b = _bin(row.hour)
            known = row.load_a is not None and row.harvest_a is not None
            sun = envelope[b] * clearness_default if row.harvest_a is None else row.harvest_a
            if row.curtailed_frac >= THROTTLED_FRAC:
                sun = max(sun, envelope[b] * clear)
            slots.append(Slot(row.hour, usual[b] if row.load_a is None else row.load_a, sun, row.engine_a,
                              row.engine_on, 20.0 if row.temperature_c is None else row.temperature_c, known,
                              refilled_a=sun - (row.harvest_a or 0.0)))
    for first, end in stretches([row.cut for row in rows]):
        missed = [usual[_bin(s.hour)] - s.load_a for s in slots[first:end]]
        less = sum(max(a, 0.0) for a in missed)
        ratio = max(sum(missed), 0.0) / less if less else 0.0
        slots[first:end] = [replace(s, prevented_a=max(a, 0.0) * ratio) for s, a in zip(slots[first:end], missed, strict=True)]
    return slots


def stretches(marks: Sequence[bool]) -> Iterator[tuple[int, int]]:
    """First and one past the last of each run of True."""
    first = None
    for k, mark in enumerate([*marks, False]):
        if mark and first is None:
            first = k
        elif not mark and first is not None:
            yield first, k
            first = None


def usual_a(rows: list[LoggedSlot]) -> list[float]:
    """The mean load by quarter hour of the day where nothing had gone off [A]; the mean of all where an hour never was free."""
    free: list[list[float]] = [[] for _ in range(96)]
    for row in rows:
        if row.load_a is not None and not row.cut:
            free[_bin(row.hour)].append(row.load_a)
    whole = _mean([load for loads in free for load in loads])
    return [_mean(loads) if loads else whole for loads in free]


def _envelope(rows: list[LoggedSlot]) -> list[float]:
    """A clear day's harvest by quarter hour [A].

    The 90 % quantile of what was harvested, smoothed over an hour; a throttled quarter hour counts as brighter than any that was
    not, for it is on bright days that a battery is full. Hours that are mostly throttled show only their dull days, so a power of a sine
    between the ends of daylight stands in, scaled by the hours that seldom are.
    """
    free: list[list[float]] = [[] for _ in range(96)]
    throttled = [0] * 96
    for k, row in enumerate(rows):
        if row.harvest_a is None:
            continue
        if row.curtailed_frac >= THROTTLED_FRAC:
            throttled[_bin(row.hour)] += 1
            continue
        near = [r.harvest_a for r in rows[max(k - 2, 0):k + 3] if r.harvest_a is not None and r.curtailed_frac < THROTTLED_FRAC]
        free[_bin(row.hour)].append(sum(near) / len(near))
    seen = [_quantile(values, 0.9, more) for values, more in zip(free, throttled, strict=True)]
    top = max(seen, default=0.0)
    light = [b for b in range(96) if seen[b] > max(LIGHT_SHARE * top, LIGHT_A)
             or throttled[b] > THROTTLED_FRAC * (len(free[b]) + throttled[b])]
    if len(light) < 8:
        return seen
    edge = asin(LIGHT_SHARE ** (1 / SKY_POWER))
    beyond = (light[-1] + 1 - light[0]) * edge / (pi - 2 * edge)
    first, last = light[0] - beyond, light[-1] + 1 + beyond
    shape = [sin(pi * (b + 0.5 - first) / (last - first)) ** SKY_POWER if first < b + 0.5 < last else 0.0 for b in range(96)]
    bright = [b for b in light if shape[b] > BRIGHT_SHAPE]
    opened = {b: len(free[b]) / (len(free[b]) + throttled[b]) for b in bright}
    telling = [b for b in bright if opened[b] >= OPEN_MOST * max(opened.values())]
    scale = _quantile([seen[b] / shape[b] for b in telling], 0.5)
    return [max(seen[b], scale * shape[b]) for b in range(96)]


def split_days(rows: Iterable[AnySlot]) -> list[list[AnySlot]]:
    """The quarter hours day by day."""
    days: list[list[AnySlot]] = []
    for row in rows:
        if not days or row.hour < days[-1][-1].hour:
            days.append([])
        days[-1].append(row)
    return days


def _bin(hour: float) -> int:
    return int(hour * 4) % 96


def _mean(values: list[float]) -> float:
    return sum(values) / len(values) if values else 0.0


def _quantile(values: list[float], share: float, more: int = 0) -> float:
    """Of values of which so many more lie beyond the highest; values: in any order; share: 0 to 1; more: that are not known."""
    ordered = sorted(values)
    return ordered[min(int(share * (len(ordered) + more)), len(ordered) - 1)] if ordered else 0.0
