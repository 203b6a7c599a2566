"""Batteries of a fleet by model and delivery: capacity against age and throughput, how long they last, drains that were found."""
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import Connection, func, select

from monitor.fleet.tables import alerts, standing, vehicles
from monitor.fleet.view import CollectedReader
from monitor.store.reading import NoLog
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
    drains_count: int


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
    for row in rows:
        weeks = _weeks(connection, row)
        label = f"{row.chemistry} {row.rated_capacity_ah:.0f} Ah" if row.rated_capacity_ah else "not known"
        groups[row.model or label, row.delivery].append(
            (row.name, _points(row, weeks), _service(row, weeks, now_utc_s), drains.get(row.id, 0)))
    found = [BatteryGroup(model, delivery, tuple(name for name, *_ in rows), tuple(p for _, points, *_ in rows for p in points),
                          tuple(s for *_, s, _ in rows if s is not None), sum(n for *_, n in rows))
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
    return [SurvivalStep(float(weeks), float(part), _bounded(low, 0.0), _bounded(high, 1.0)) for weeks, part, low, high in zip(
        found.quantiles, found.probabilities, interval.low.probabilities, interval.high.probabilities, strict=True)]


def _weeks(connection: Connection, vehicle: Any) -> list[tuple[float, Week]]:
    """(UTC of its end, record) of the weeks of a vehicle's present log, oldest first; none where nothing has come yet."""
    try:
        return CollectedReader(connection, vehicle.id, vehicle.line, vehicle.name).weeks()
    except NoLog:
        return []


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


def _bounded(value: float, without: float) -> float:
    """An end of an interval; where it is not defined, as far as it can be."""
    return without if value != value else min(max(float(value), 0.0), 1.0)
