"""Writes what is pending into an open log, all or nothing; writing it twice changes nothing."""
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from monitor.store import checksum, reading, rollups, saving, state
from monitor.store.all_or_nothing import transaction
from monitor.store.columns import milliseconds
from monitor.store.delta_compression import shrink
from monitor.store.write_queue import HOUR_MS, WriteQueue


def _insert(table: str, *columns: str) -> str:
    return f"insert or replace into {table} ({', '.join(columns)}) values ({', '.join('?' * len(columns))})"


_CHUNKS = _insert("chunks", "at_ms", "end_ms", "count", "crc", "body")
_CRANKS = _insert("cranks", "at_ms", "crc", "body")
_STATE = _insert("tracker_state", "generation", "whole", "at_ms", "format", "crc", "body")
_FINDINGS = _insert("findings", "id", "at_ms", "crc", "body")


@dataclass(frozen=True, slots=True)
class Place:
    """How far the log is written: what the next batch goes on from."""

    generation: int = 0
    event_id: int = 0
    minute_ms: int | None = None
    day_ms: int | None = None
    texts: state.Texts | None = None    # of the latest saved state
    findings: str | None = None         # that are in row 1, whole


def place_of(sql: Callable[..., Any]) -> Place:
    """Where an open log ends."""
    def one(question: str) -> Any:
        return sql(question).fetchone()[0]

    return Place(one("select coalesce(max(generation), 0) from tracker_state"), one("select coalesce(max(id), 0) from events"),
                 one("select max(end_ms) from minutes"), one("select max(start_ms) from days"))


def write(connection: Any, pending: WriteQueue, place: Place) -> Place:
    """One transaction on a SQLAlchemy connection in autocommit mode; returns the place it leads to.

    connection: to the log; pending: what waits to be written; place: where the last one ended.

    Raises
    ------
    sqlalchemy.exc.DatabaseError : nothing was written
    """
    sql = connection.exec_driver_sql
    with transaction(sql):
        return _fill(sql, pending, place)


def _fill(sql: Callable[..., Any], pending: WriteQueue, place: Place) -> Place:
    def many(statement: str, rows: Sequence[tuple[Any, ...]]) -> None:
        if rows:
            sql(statement, rows)

    def put(table: str, rows: Sequence[tuple[Any, ...]]) -> None:
        crc = checksum.checksum_of(table)
        many(checksum.insert_of(table), [(*row, crc(row)) for row in rows])

    put("boots", [(at_ms, x.boot_id, milliseconds(x.utc_offset_s), x.utc_sigma_s, int(x.utc_trusted), x.source, x.gap_s,
                    x.gap_doubt_s, milliseconds(x.boot_offset_s)) for at_ms, x in pending.labels.items()])
    put("samples", pending.samples)
    many(_CHUNKS, pending.chunks)
    many(_CRANKS, [reading.blob_row(at_ms, json.dumps(pairs)) for at_ms, pairs in pending.cranks])
    put("gaps", [(milliseconds(g.from_s), g.quantity, g.reason, None if g.until_s is None else milliseconds(g.until_s), g.count)
                 for g in pending.gaps.values()])
    put("events", [(place.event_id + i, milliseconds(e.at_s), e.kind, e.battery, e.message, json.dumps(e.figures))
                   for i, e in enumerate(pending.events, 1)])
    put("alerts", [(a.id, milliseconds(max(a.raised_at_s, a.cleared_at_s or 0, a.acknowledged_at_s or 0)), a.state,
                    milliseconds(a.raised_at_s), saving.to_text(a)) for a in pending.alerts.values()])
    minute_ms, day_ms, whole, texts = place.minute_ms, place.day_ms, place.findings, place.texts
    if pending.minutes:
        for rows in pending.minutes_by_days():
            put("minutes", rows)
        hour = None if minute_ms is None else minute_ms // HOUR_MS
        put("forecasts", [row for row in pending.forecasts if row[0] // HOUR_MS != hour])
        end_ms = pending.minutes[-1][0]
        whole = _findings(sql, pending, place, end_ms)
        rollups.roll(sql, minute_ms, end_ms)
        day_ms = _days(sql, pending, minute_ms, day_ms, end_ms)
        minute_ms = end_ms
    generation = place.generation
    if pending.state is not None:
        generation += 1
        texts = state.texts_of(pending.state)
        again = generation % state.WHOLE_EVERY == 0 or place.texts is None
        sql(_STATE, state.pack(texts, None if again else place.texts, generation, minute_ms or 0))
        if again:  # the run before this one stays, as what to fall back to
            sql("delete from tracker_state where generation < ?", (generation - 2 * state.WHOLE_EVERY,))
    return Place(generation, place.event_id + len(pending.events), minute_ms, day_ms, texts, whole)


def _findings(sql: Callable[..., Any], pending: WriteQueue, place: Place, end_ms: int) -> str:
    """Row 1 whole now and then, row 2 small each time; returns what is whole in row 1."""
    text = saving.to_text(pending.found)
    if place.findings is None or place.generation % state.WHOLE_EVERY == 0:
        sql(_FINDINGS, (1, *reading.blob_row(end_ms, text)))
        sql("delete from findings where id = 2")
        return text
    body = shrink(text, place.findings)
    sql(_FINDINGS, (2, end_ms, reading.shrunk_crc(end_ms, body, place.findings), body))
    return place.findings


def _days(sql: Callable[..., Any], pending: WriteQueue, before_ms: int | None, day_ms: int | None, end_ms: int) -> int:
    """Each day that ended, whole; the day that goes on, once an hour."""
    starts = sorted(pending.days)
    if day_ms is not None and before_ms is not None and starts[0] > day_ms:
        rollups.day(sql, day_ms, before_ms)
    for start in starts[:-1]:
        rollups.day(sql, start, pending.days[start])
    if before_ms is None or end_ms // HOUR_MS != before_ms // HOUR_MS or starts[-1] != day_ms:
        rollups.day(sql, starts[-1], end_ms)
    return starts[-1]
