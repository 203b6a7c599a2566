"""What a collector does by itself: passes on alerts of the fleet that nobody was told yet, and a digest a day; makes room for the months
to come. Any number may run."""
import json
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime

from sqlalchemy import Connection, Engine, select, update

from monitor.alerts.delivery import Deliverer
from monitor.alerts.rules import Alert, AlertChange
from monitor.fleet import database, overview
from monitor.fleet.database import insert_of
from monitor.fleet.minutely import MinuteThread
from monitor.fleet.tables import alerts, settings, vehicles
from monitor.store import saving

#: Alerts passed on at one look [count] (choice: a flood is shown on the pages, not sent).
MOST_AT_ONCE = 20
#: Priorities that are passed on at once; the rest is in the digest.
LOUD = ("high", "medium")


class Rounds(MinuteThread):
    """Looks once a minute in a thread of its own. Each alert and each digest is claimed in the database first, so it goes out once."""

    def __init__(self, engine: Engine, deliverer: Deliverer, digest_at: str | None, now_utc_s: Callable[[], float] = time.time) -> None:
        super().__init__("rounds", "a round", engine, now_utc_s)
        self._deliverer, self._digest_at = deliverer, digest_at
        self._months_made_on: date | None = None

    def look(self) -> None:
        """One round."""
        now_s = self._now_utc_s()
        with self._engine.begin() as connection:
            changes = claim_alerts(connection)
        for change in changes:
            self._deliverer.offer(change)
        self._send_digest(now_s)
        today = datetime.fromtimestamp(now_s, UTC).date()
        if self._months_made_on != today and database.make_months(self._engine, today):
            self._months_made_on = today

    def _send_digest(self, now_s: float) -> None:
        moment = datetime.fromtimestamp(now_s)
        if self._digest_at is None or f"{moment:%H:%M}" < self._digest_at:
            return
        with self._engine.begin() as connection:
            digest = digest_of(connection, now_s) if claim_day(connection, f"{moment:%Y-%m-%d}") else None
        if digest is not None:
            self._deliverer.offer(digest)


def claim_alerts(connection: Connection) -> list[AlertChange]:
    """Alerts that hold and that nobody was told yet, marked as told; each with its vehicle's name in front."""
    question = select(alerts.c.vehicle_id, alerts.c.line, alerts.c.id, alerts.c.row, vehicles.c.name).join(
        vehicles, (vehicles.c.id == alerts.c.vehicle_id) & (vehicles.c.line == alerts.c.line)).where(
        alerts.c.told == 0, alerts.c.state == "active").order_by(alerts.c.at_ms).limit(MOST_AT_ONCE)
    if connection.dialect.name == "postgresql":
        question = question.with_for_update(of=alerts, skip_locked=True)
    changes = []
    for vehicle_id, line, number, text, name in connection.execute(question).fetchall():
        connection.execute(update(alerts).where(
            alerts.c.vehicle_id == vehicle_id, alerts.c.line == line, alerts.c.id == number).values(told=1))
        try:
            alert = saving.from_text(Alert, json.loads(text)[4])
        except ValueError:
            continue
        if alert.priority in LOUD:
            changes.append(AlertChange(alert.raised_at_s, "raised", _with_vehicle(alert, name, vehicle_id)))
    return changes


def claim_day(connection: Connection, day: str) -> bool:
    """Whether the digest of a day is ours to send: the first who asks has it."""
    put = insert_of(connection, settings).values(name="digest_day", value="")
    connection.execute(put.on_conflict_do_nothing())
    done = connection.execute(update(settings).where(settings.c.name == "digest_day", settings.c.value < day).values(value=day))
    return bool(done.rowcount)


def digest_of(connection: Connection, now_utc_s: float) -> AlertChange:
    """The day's digest: every vehicle that needs somebody, in a line each.

    connection: of the collection; now_utc_s: UTC [s].
    """
    lines = overview.list_vehicles(connection, now_utc_s)
    asking = [line for line in lines if line.need]
    first = f"{len(asking)} of {len(lines)} vehicles need a look." if asking else f"None of {len(lines)} vehicles needs a look."
    means = "\n".join(f"{line.name}: {line.sentence}" for line in asking)
    return AlertChange(now_utc_s, "raised", Alert(
        0, "fleet_digest", "vehicle", "medium" if any(line.urgency >= overview.URGENCY["medium"] for line in asking) else "low", "active",
        now_utc_s, first, means or "Nothing is to be done.", "", ""))


def _with_vehicle(alert: Alert, name: str, vehicle_id: int) -> Alert:
    return replace(alert, id=alert.id * 100_000 + vehicle_id, seen=f"{name}: {alert.seen}")
