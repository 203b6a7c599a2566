"""What a fleet's page shows first: each vehicle in a line, those that need somebody at the top."""
import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, select

from monitor.fleet.tables import alerts, seen_by, standing, vehicles, years

#: Silent for so long, a vehicle is asked after [s] (choice: a week holds every trip home to a network).
SILENT_S = 7 * 86400.0
#: How urgent each reason is; the most urgent has most.
URGENCY = {"high": 6, "replace": 5, "refused": 4, "medium": 3, "silent": 2, "watch": 1, "low": 1, "": 0}


@dataclass(frozen=True, slots=True)
class VehicleLine:
    """One vehicle as it stands. need: why it is where it is in the list, "" where nothing asks for anybody."""

    id: int
    name: str
    line: int
    need: str
    sentence: str
    row: Any                    # of the tables vehicles, standing and years, joined

    @property
    def urgency(self) -> int:
        return URGENCY[self.need]


def list_vehicles(connection: Connection, now_utc_s: float) -> list[VehicleLine]:
    """Every vehicle, the most urgent first, then by name.

    connection: of the collection; now_utc_s: UTC [s].
    """
    left = (years.c.value.label("years"), years.c.low.label("years_low"), years.c.high.label("years_high"))
    rows = connection.execute(select(vehicles, *(c for c in standing.c if c.name != "vehicle_id"), *left)
                              .outerjoin(standing, standing.c.vehicle_id == vehicles.c.id)
                              .outerjoin(years, (years.c.vehicle_id == vehicles.c.id) & (years.c.line == vehicles.c.line)))
    lines = []
    for row in rows:
        need, sentence = _need(row, now_utc_s)
        lines.append(VehicleLine(row.id, row.name, row.line, need, sentence, row))
    return sorted(lines, key=lambda found: (-found.urgency, found.name))


def _need(row: Any, now_utc_s: float) -> tuple[str, str]:
    if row.high:
        return "high", row.first_seen
    if row.verdict == "replace":
        return "replace", "The house battery should be replaced."
    if row.refused and row.revoked_utc_s is None:
        return "refused", f"Its board was turned away. {row.refused}"
    if row.medium:
        return "medium", row.first_seen
    if row.seen_utc_s is None:
        return "silent", "Nothing has come from its board yet."
    if now_utc_s - row.seen_utc_s > SILENT_S and row.revoked_utc_s is None:
        return "silent", f"Nothing has come for {(now_utc_s - row.seen_utc_s) / 86400:.0f} days."
    if row.verdict == "watch":
        return "watch", "Keep an eye on the house battery."
    if row.low:
        return "low", row.first_seen
    return "", ""


@dataclass(frozen=True, slots=True)
class FleetAlert:
    """An alert of a vehicle: its row in the log's shape, and who of the fleet has seen it."""

    vehicle_id: int
    vehicle: str
    line: int
    row: tuple[Any, ...]
    seen_by: str
    seen_utc_s: float | None


def open_alerts(connection: Connection, most: int = 200) -> list[FleetAlert]:
    """Alerts that hold now on vehicles' present logs, the latest first.

    connection: of the collection; most: at most so many.
    """
    rows = connection.execute(
        select(vehicles.c.id, vehicles.c.name, alerts.c.line, alerts.c.row, seen_by.c.by, seen_by.c.at_utc_s)
        .join(vehicles, (vehicles.c.id == alerts.c.vehicle_id) & (vehicles.c.line == alerts.c.line))
        .outerjoin(seen_by, (seen_by.c.vehicle_id == alerts.c.vehicle_id) & (seen_by.c.line == alerts.c.line)
                   & (seen_by.c.alert_id == alerts.c.id))
        .where(alerts.c.state.in_(("active", "active acknowledged"))).order_by(alerts.c.at_ms.desc()).limit(most))
    return [FleetAlert(r[0], r[1], r[2], tuple(json.loads(r[3])), r[4] or "", r[5]) for r in rows]
