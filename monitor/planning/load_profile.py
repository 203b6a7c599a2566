"""A life: the loads and the sun of some weeks in quarter hours, apart from the battery they met."""
from collections.abc import Iterable
from dataclasses import dataclass
from math import pi, sin
from typing import TypeVar

SLOT_H = 0.25


@dataclass(frozen=True, slots=True)
class Slot:
    """A quarter of an hour.

    sun_a is what the panel would have given (curtailed harvest already refilled, see refill);
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


@dataclass(frozen=True, slots=True)
class LoggedSlot:
    """A quarter of an hour as the log has it, before refilling. cut: the battery was so flat that loads had gone off."""

    hour: float
    load_a: float | None
    harvest_a: float | None
    curtailed_frac: float = 0.0
    engine_a: float = 0.0
    engine_on: bool = False
    temperature_c: float | None = None
    charge_frac: float | None = None
    cut: bool = False


AnySlot = TypeVar("AnySlot", Slot, LoggedSlot)


def refill(rows: list[LoggedSlot], clearness_default: float = 0.75) -> list[Slot]:
    """The life behind a log: where the charger throttled, the harvest is a lower bound and is refilled.

    Refilled with the day's clearness (median share of the envelope over that day's unthrottled hours,
    0.05 to 1.25; clearness_default where the whole day was throttled) times the envelope, the harvest of a clear
    day at that hour. Gaps take the mean load of their hour and the sun of a clear day
    times clearness_default; they are marked not known. Where loads had gone off because the battery was flat, what
    they usually take at that hour beyond what flowed is prevented use.
    """
    envelope, usual = _envelope(rows), usual_a(rows)
    slots: list[Slot] = []
    for day in split_days(rows):
        shares = sorted(r.harvest_a / envelope[_bin(r.hour)] for r in day
                        if r.harvest_a is not None and r.curtailed_frac < 0.3 and envelope[_bin(r.hour)] > 0.5)
        clear = min(max(shares[len(shares) // 2], 0.05), 1.25) if len(shares) >= 4 else clearness_default
        for row in day:
            b = _bin(row.hour)
            known = row.load_a is not None and row.harvest_a is not None
            sun = envelope[b] * clearness_default if row.harvest_a is None else row.harvest_a
            if row.curtailed_frac >= 0.3:
                sun = max(sun, envelope[b] * clear)
            slots.append(Slot(row.hour, usual[b] if row.load_a is None else row.load_a, sun, row.engine_a,
                              row.engine_on, 20.0 if row.temperature_c is None else row.temperature_c, known,
                              max(usual[b] - (row.load_a or 0.0), 0.0) if row.cut else 0.0))
    return slots


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

    The 90 % quantile of what was harvested unthrottled. At hours that were throttled whenever the sun shone
    that is too low, so a sine between the learnt ends of daylight, scaled by the other hours, stands in.
    """
    free: list[list[float]] = [[] for _ in range(96)]
    for row in rows:
        if row.harvest_a is not None and row.curtailed_frac < 0.3:
            free[_bin(row.hour)].append(row.harvest_a)
    seen = [_quantile(values, 0.9) for values in free]
    top = max(seen, default=0.0)
    light = [b for b in range(96) if seen[b] > max(0.03 * top, 0.1)]
    if len(light) < 8:
        return seen
    first, last = light[0] - 0.5, light[-1] + 1.5
    shape = [max(sin(pi * (b + 0.5 - first) / (last - first)), 0.0) if first < b + 0.5 < last else 0.0 for b in range(96)]
    scale = _quantile([value / shape[b] for b in light if shape[b] > 0.3 for value in free[b]], 0.9)
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


def _quantile(values: list[float], share: float) -> float:
    ordered = sorted(values)
    return ordered[min(int(share * len(ordered)), len(ordered) - 1)] if ordered else 0.0
