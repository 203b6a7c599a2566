"""Batteries of a fleet by model and delivery: capacity against age and throughput, how long they last, drains that were found."""
import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, func, select

from monitor.fleet.filing import spans_of
from monitor.fleet.tables import alerts, boots, events, standing, vehicles
from monitor.logbook.reader import event_of
from monitor.store.reading import utc_s
from monitor.wear import week
from monitor.wear.week import Week

#: The alert that tells of a drain on a starter battery.
DRAIN_KIND = "starter_drain"
WEEK_S = 7 * 86400.0


@dataclass(frozen=True, slots=True)
class WeekPoint:
    """One week of one battery. age_weeks counts from the day it was fitted, or from its first week on record."""

    vehicle: str
    age_weeks: float
    throughput_ah: float
    capacity_frac: float
    low_frac: float
    high_frac: float


@dataclass(frozen=True, slots=True)
class Service:
    """How long one battery has served, and whether that is all: ended is False while it still serves."""

    weeks: float
    ended: bool


@dataclass(frozen=True, slots=True)
class BatteryGroup:
    """Batteries of one model and delivery."""

    model: str
    delivery: str
    vehicles: tuple[str, ...]
    points: tuple[WeekPoint, ...]
    services: tuple[Service, ...]
    drains: tuple[tuple[str, int], ...]     # (vehicle, how many on its starter battery), where there were any


@dataclass(frozen=True, slots=True)
class SurvivalStep:
    """From so many weeks on, this part of the batteries still serves, with its 95 % interval."""

    weeks: float
    part_frac: float
    low_frac: float
    high_frac: float


def group_batteries(connection: Connection, now_utc_s: float) -> list[BatteryGroup]:
    """The fleet's house batteries by model and delivery, the largest group first.

    connection: of the collection; now_utc_s: UTC [s].
    """
    groups: dict[tuple[str, str], list[tuple[str, list[WeekPoint], Service | None, int]]] = defaultdict(list)
    drains: dict[int, int] = {row[0]: row[1] for row in connection.execute(
        select(alerts.c.vehicle_id, func.count()).where(alerts.c.kind == DRAIN_KIND).group_by(alerts.c.vehicle_id))}
    rows = connection.execute(select(vehicles, standing.c.chemistry, standing.c.rated_capacity_ah)
                              .outerjoin(standing, standing.c.vehicle_id == vehicles.c.id).order_by(vehicles.c.name)).fetchall()
    records = _weeks(connection)
    for row in rows:
        weeks = records.get(row.id, [])
        label = f"{row.chemistry} {row.rated_capacity_ah:.0f} Ah" if row.rated_capacity_ah else "not known"
        groups[row.model or label, row.delivery].append(
            (row.name, _points(row, weeks), _service(row, weeks, now_utc_s), drains.get(row.id, 0)))
    found = [BatteryGroup(model, delivery, tuple(name for name, *_ in rows), tuple(p for _, points, *_ in rows for p in points),
                          tuple(s for *_, s, _ in rows if s is not None), tuple((name, n) for name, *_, n in rows if n))
             for (model, delivery), rows in groups.items()]
    return sorted(found, key=lambda group: (-len(group.vehicles), group.model, group.delivery))


def survival(services: tuple[Service, ...]) -> list[SurvivalStep]:
    """What part of batteries still serves after so many weeks: Kaplan and Meier 1958, Greenwood's interval (scipy.stats.ecdf).

    Batteries that still serve count for as long as they have. Empty while none has ended.

    Raises
    ------
    ModuleNotFoundError : scipy is not here (the extra `fleet` brings it)
    """
    ended = [s.weeks for s in services if s.ended]
    if not ended:
        return []
    from scipy.stats import CensoredData, ecdf

    found = ecdf(CensoredData(uncensored=ended, right=[s.weeks for s in services if not s.ended])).sf
    interval = found.confidence_interval(confidence_level=0.95, method="log-log")
    return [SurvivalStep(float(weeks), float(part), _interval_end(low, 0.0), _interval_end(high, 1.0)) for weeks, part, low, high in zip(
        found.quantiles, found.probabilities, interval.low.probabilities, interval.high.probabilities, strict=True)]


def _weeks(connection: Connection) -> dict[int, list[tuple[float, Week]]]:
    """(UTC of its end, record) of the weeks of each vehicle's present log, oldest first: two questions for the whole fleet."""
    def rows_of(table: Any, order: tuple[Any, ...], *where: Any) -> Iterator[tuple[int, tuple[Any, ...]]]:
        present = (vehicles.c.id == table.c.vehicle_id) & (vehicles.c.line == table.c.line)
        found = connection.execute(select(table.c.vehicle_id, table.c.row).join(vehicles, present).where(*where)
                                   .order_by(table.c.vehicle_id, *order))
        for vehicle_id, text in found:
            yield vehicle_id, tuple(json.loads(text))

    spans = {vehicle_id: spans_of([row for _, row in rows])
             for vehicle_id, rows in groupby(rows_of(boots, (boots.c.at_ms,)), lambda found: found[0])}
    weeks: dict[int, list[tuple[float, Week]]] = defaultdict(list)
    for vehicle_id, row in rows_of(events, (events.c.at_ms, events.c.id), events.c.kind == week.WEEK_EVENT):
        if vehicle_id in spans:
            weeks[vehicle_id].append((utc_s(spans[vehicle_id], row[1]), week.of_event(event_of(row))))
    return weeks


def _points(vehicle: Any, weeks: list[tuple[float, Week]]) -> list[WeekPoint]:
    if not vehicle.rated_capacity_ah or not weeks:
        return []
    begun_s = _begun_s(vehicle, weeks)
    throughput, points = 0.0, []
    for at_utc_s, found in weeks:
        throughput += found.charge_out_ah
        sizes = [size for size in (found.capacity_ah, found.capacity_low_ah, found.capacity_high_ah) if size is not None]
        if at_utc_s >= begun_s and len(sizes) == 3:
            points.append(WeekPoint(vehicle.name, (at_utc_s - begun_s) / WEEK_S, throughput,
                                    *(size / vehicle.rated_capacity_ah for size in sizes)))
    return points


def _service(vehicle: Any, weeks: list[tuple[float, Week]], now_utc_s: float) -> Service | None:
    if vehicle.fitted_on is None and not weeks:
        return None
    begun_s = _begun_s(vehicle, weeks)
    until_s = now_utc_s if vehicle.ended_on is None else _utc_s(vehicle.ended_on)
    return Service((until_s - begun_s) / WEEK_S, vehicle.ended_on is not None) if until_s > begun_s else None


def _begun_s(vehicle: Any, weeks: list[tuple[float, Week]]) -> float:
    """When the battery was fitted, or its first week on record began, UTC [s]."""
    return weeks[0][0] - WEEK_S if vehicle.fitted_on is None else _utc_s(vehicle.fitted_on)


def _utc_s(day: date) -> float:
    return datetime(day.year, day.month, day.day, tzinfo=UTC).timestamp()


def _interval_end(value: float, without: float) -> float:
    """An end of an interval; where it is not defined, as far as it can be."""
    return without if value != value else min(max(float(value), 0.0), 1.0)
