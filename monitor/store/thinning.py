"""Old rows made small, then dropped: raw hours packed, raw and minutes kept for a time, roll-ups for years."""
from collections.abc import Callable
from typing import Any

from monitor.store import chunks
from monitor.store.columns import RAW_COLUMNS

HOUR_MS = 3_600_000
DAY_MS = 86_400_000
#: The latest so many hours stay as rows: what a page asks for most.
LOOSE_HOURS = 2
#: In need of space the latest so many lived days are not given up.
KEPT_IN_NEED_DAYS = 7
#: Minutes of so many lived days stay whatever happens, but for a full disk.
KEPT_LIVED_DAYS = 400
#: What one row covers [ms]; never more than its kind can, whatever the line of time did within it.
_LIVED_MS = {"chunks": f"min(max(end_ms - at_ms, 0), {HOUR_MS})", "minutes": "min(end_ms - start_ms, 60000)",
             "quarters": "min(end_ms - start_ms, 900000)"}

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


def retire(sql: Sql, raw_days: int, minute_days: int = KEPT_LIVED_DAYS) -> None:
    """Drops raw hours and minutes beyond their time; quarters, hours, days, events, alerts and starts are kept.

    Time is counted as lived (what the rows themselves cover), never by a date: a clock that is wrong, or a silence that
    was supposed too long, makes nothing old. At most one lived day's worth of each goes in one call.
    raw_days, minute_days : lived days of which raw readings and minutes stay
    """
    for table, days in (("chunks", raw_days), ("minutes", minute_days)):
        beyond_ms = (sql(f"select sum({_LIVED_MS[table]}) from {table}").fetchone()[0] or 0) - days * DAY_MS
        if (last := _lived(sql, table, "asc", min(beyond_ms, DAY_MS))[0]) is not None:
            sql(f"delete from {table} where end_ms <= ?", (last,))


def in_need(sql: Sql) -> str:
    """Gives up a tenth of what is dearest in space and oldest; returns what went, or "" where nothing may go.

    The order: raw hours, minutes, quarters; nothing of the latest KEPT_IN_NEED_DAYS that were lived. The space is used
    again by the log itself.
    """
    for table, what in (("chunks", "raw readings"), ("minutes", "minutes"), ("quarters", "quarters")):
        last, following = _lived(sql, table, "desc", KEPT_IN_NEED_DAYS * DAY_MS)
        if last is not None and following is not None:
            count = max(sql(f"select count(*) from {table} where end_ms < ?", (last,)).fetchone()[0] // 10, 1)
            sql(f"delete from {table} where end_ms in (select end_ms from {table} where end_ms < ? order by end_ms limit ?)", (last, count))
            return f"the oldest {count} rows of {what}"
    return ""


def _lived(sql: Sql, table: str, way: str, up_to_ms: int) -> tuple[int | None, int | None]:
    """Walks rows from one end of a table until they cover so much life: the end [ms] of the last row within it, and of the one after.

    way : "asc" from the oldest, "desc" from the newest
    """
    last, so_far = None, 0
    for end, lived in sql(f"select end_ms, {_LIVED_MS[table]} from {table} order by end_ms {way}"):
        so_far += lived
        if so_far > up_to_ms:
            return last, end
        last = end
    return last, None


def _whole(sql: Sql, statements: list[tuple[str, tuple]]) -> None:
    sql("begin immediate")
    try:
        for statement, values in statements:
            sql(statement, values)
        sql("commit")
    except BaseException:
        sql("rollback")
        raise
