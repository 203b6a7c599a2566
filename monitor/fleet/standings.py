"""How a vehicle stands, in one row for the list: taken from its latest findings and its open alerts, with nothing worked out anew."""
import json
from collections.abc import Callable
from contextlib import suppress
from typing import Any

from sqlalchemy import Connection, select

from monitor.alerts.rules import RANK, Alert
from monitor.battery.label import Vehicle
from monitor.findings import Answer, Estimate
from monitor.fleet.database import insert_of
from monitor.fleet.tables import alerts, findings, meta, standing
from monitor.pipeline import Findings
from monitor.store import saving


def write(connection: Connection, vehicle_id: int, line: int, utc_s: Callable[[int], float], now_utc_s: float) -> None:
    """Writes the vehicle's row anew.

    connection: of the collection, in a transaction; vehicle_id, line: whose; utc_s: UTC of a moment of the line [ms]; now_utc_s: UTC [s].
    """
    mine: dict[str, Any] = {"vehicle_id": vehicle_id, "at_utc_s": now_utc_s, **_of_meta(connection, vehicle_id, line),
                            **_of_alerts(connection, vehicle_id, line)}
    row = connection.execute(select(findings.c.at_ms, findings.c.text).where(
        findings.c.vehicle_id == vehicle_id, findings.c.line == line)).fetchone()
    if row is not None:
        mine["at_utc_s"] = utc_s(row[0])
        with suppress(ValueError):  # of another version: the pages say so, the rest stands
            mine |= _of_findings(saving.from_text(Findings, row[1]))
    put = insert_of(connection, standing).values(mine)
    connection.execute(put.on_conflict_do_update(index_elements=["vehicle_id"], set_={k: v for k, v in mine.items() if k != "vehicle_id"}))


def _of_findings(found: Findings) -> dict[str, Any]:
    charge, health = found.charge, found.health
    return {
        **_three("charge", charge.charge_frac), **_three("capacity", health.capacity_frac),
        "starter_v": _value(found.starter.rest_voltage_v), "drain_a": _value(found.starter.drain_a), "verdict": health.verdict,
        "probability_short": found.forecast.probability_before_sun, "throughput_ah": health.charge_out_ah,
        "weeks_count": health.weeks_count}


def _of_meta(connection: Connection, vehicle_id: int, line: int) -> dict[str, Any]:
    rows = connection.execute(select(meta.c.name, meta.c.row).where(meta.c.vehicle_id == vehicle_id, meta.c.line == line))
    words = {name: json.loads(text)[1] for name, text in rows}
    found: dict[str, Any] = {"simulated": words.get("simulated") == "1"}
    try:
        house = saving.from_text(Vehicle, words["vehicle"]).house
    except (KeyError, ValueError):
        return found
    return found | {"chemistry": house.chemistry, "rated_capacity_ah": house.rated_capacity_ah}


def _of_alerts(connection: Connection, vehicle_id: int, line: int) -> dict[str, Any]:
    counts = {"high": 0, "medium": 0, "low": 0}
    first: Alert | None = None
    for (text,) in connection.execute(select(alerts.c.row).where(
            alerts.c.vehicle_id == vehicle_id, alerts.c.line == line, alerts.c.state.in_(("active", "active acknowledged")))):
        try:
            alert = saving.from_text(Alert, json.loads(text)[4])
        except ValueError:
            continue
        counts[alert.priority] += 1
        if first is None or (RANK[alert.priority], -alert.raised_at_s) > (RANK[first.priority], -first.raised_at_s):
            first = alert
    return {**counts, "first_seen": "" if first is None else first.seen}


def _three(name: str, answer: Answer) -> dict[str, float | None]:
    value, low, high = (answer.value, answer.low, answer.high) if isinstance(answer, Estimate) else (None, None, None)
    return {f"{name}_frac": value, f"{name}_low_frac": low, f"{name}_high_frac": high}


def _value(answer: Answer) -> float | None:
    return answer.value if isinstance(answer, Estimate) else None
