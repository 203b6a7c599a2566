"""Old rows made small, then dropped: raw hours packed, raw and minutes kept for a time, roll-ups for years."""
from collections.abc import Callable
from typing import Any

from monitor.store import chunks
from monitor.store.columns import RAW_COLUMNS

HOUR_MS = 3_600_000
DAY_MS = 86_400_000
#: The latest so many hours stay as rows: what a page asks for most.
LOOSE_HOURS = 2
#: In need of space nothing younger than this is given up.
KEPT_IN_NEED_DAYS = 7

Sql = Callable[..., Any]


def pack_hours(sql: Sql, now_ms: int, most: int = 48) -> int:
    """Moves whole hours of raw rows, older than LOOSE_HOURS, into chunks; returns how many. Each hour is one transaction."""
    until = now_ms - now_ms % HOUR_MS - LOOSE_HOURS * HOUR_MS
    done = 0
    while done < most:
        first = sql("select min(at_ms) from samples").fetchone()[0]
        if first is None or first > until:
            break
        # an hour holds the moments after its start up to and including its end, as minutes do
        end = -(-first // HOUR_MS) * HOUR_MS
        if end > until:
            break
        rows = sql(f"select at_ms, {', '.join(RAW_COLUMNS)} from samples where at_ms <= ? order by at_ms", (end,)).fetchall()
        rows = [tuple(row) for row in rows]
        packed = chunks.pack(rows)
        if chunks.unpack(*packed) != rows:
            raise chunks.Damaged(f"the hour until {end / 1000:.0f} s does not come back from its chunk; its rows are kept")
        _whole(sql, [("insert or replace into chunks (at_ms, end_ms, count, crc, body) values (?, ?, ?, ?, ?)", packed),
                     ("delete from samples where at_ms <= ?", (end,))])
        done += 1
    return done


def retire(sql: Sql, now_ms: int, raw_days: int, minute_days: int = 400) -> None:
    """Drops raw hours and minutes beyond their time. Quarters, hours, days, events, alerts and starts are kept."""
    raw, minute = now_ms - raw_days * DAY_MS, now_ms - minute_days * DAY_MS
    for table, column, before in (("chunks", "end_ms", raw), ("minutes", "end_ms", minute)):
        last = sql(f"select max({column}) from {table} where {column} <= ?", (before,)).fetchone()[0]
        while last is not None:  # a day at a time: no long transaction, no large write at once
            first = sql(f"select min({column}) from {table}").fetchone()[0]
            upto = min(first + DAY_MS, before)
            sql(f"delete from {table} where {column} <= ?", (upto,))
            if upto >= last:
                break


def in_need(sql: Sql, now_ms: int) -> str:
    """Gives up a tenth of what is dearest in space and oldest; returns what went, or "" where nothing may go.

    The order: raw hours, minutes, quarters; nothing of the latest KEPT_IN_NEED_DAYS. The space is used again
    by the log itself.
    """
    before = now_ms - KEPT_IN_NEED_DAYS * DAY_MS
    for table, column, what in (("chunks", "end_ms", "raw readings"), ("minutes", "end_ms", "minutes"), ("quarters", "end_ms", "quarters")):
        count = sql(f"select count(*) from {table} where {column} <= ?", (before,)).fetchone()[0]
        if count:
            sql(f"delete from {table} where {column} in (select {column} from {table} where {column} <= ? "
                f"order by {column} limit ?)", (before, max(count // 10, 1)))
            return f"the oldest {max(count // 10, 1)} rows of {what}"
    return ""


def _whole(sql: Sql, statements: list[tuple[str, tuple]]) -> None:
    sql("begin immediate")
    try:
        for statement, values in statements:
            sql(statement, values)
        sql("commit")
    except BaseException:
        sql("rollback")
        raise
