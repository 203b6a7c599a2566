"""Old rows made small, then dropped: raw hours packed, raw and minutes kept for a time, roll-ups for years."""
from collections.abc import Callable
from pathlib import Path
from typing import Any

from monitor.store import checksum, chunks, past
from monitor.store.segment import Segment

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
        rows = [tuple(checksum.verify("samples", row)) for row in sql(
            f"select {checksum.columns_of('samples')} from samples where at_ms <= ? order by at_ms", (end,)).fetchall()]
        packed = chunks.pack(rows)
        if chunks.unpack(*packed) != rows:
            raise chunks.Damaged(f"the hour until {end / 1000:.0f} s does not come back from its chunk; its rows are kept")
        _whole(sql, [("insert or replace into chunks (at_ms, end_ms, count, crc, body) values (?, ?, ?, ?, ?)", packed),
                     ("delete from samples where at_ms <= ?", (end,))])
        done += 1
    return done


def retire(sql: Sql, folder: Path, raw_days: int, minute_days: int = KEPT_LIVED_DAYS) -> None:
    """Drops raw hours and minutes beyond their time; quarters, hours, days, events and alerts are kept.

    Time is counted as lived (what the rows themselves cover), never by a date: a clock that is wrong, or a silence that
    was supposed too long, makes nothing old. At most one lived day's worth of each goes in one call.

    Parameters
    ----------
    sql : of the open log
    folder : of its sealed days
    raw_days, minute_days : lived days of which raw readings and minutes stay
    """
    for kind, table, days in (("raw", "chunks", raw_days), ("minutes", "minutes", minute_days)):
        beyond_ms = (sql(f"select sum({_LIVED_MS[table]}) from {table}").fetchone()[0] or 0) - days * DAY_MS
        files = _sealed(folder, kind)
        if files:
            if beyond_ms + sum(files.values()) >= files[oldest := min(files)]:
                past.path_of(folder, kind, oldest).unlink(missing_ok=True)
        elif (last := _lived(sql, table, "asc", min(beyond_ms, DAY_MS))[0]) is not None:
            sql(f"delete from {table} where end_ms <= ?", (last,))


def in_need(sql: Sql, folder: Path) -> str:
    """Gives up a tenth of what is dearest in space and oldest; returns what went, or "" where nothing may go.

    The order: raw hours, minutes, quarters; nothing of the latest KEPT_IN_NEED_DAYS that were lived, and no quarter of a
    sealed day. The space of rows is used again by the log itself; that of sealed days is free at once.

    Parameters
    ----------
    sql : of the open log
    folder : of its sealed days
    """
    for kind, table, what in (("raw", "chunks", "raw readings"), ("minutes", "minutes", "minutes"), ("", "quarters", "quarters")):
        files = _sealed(folder, kind) if kind else {}
        kept_ms = KEPT_IN_NEED_DAYS * DAY_MS - (sql(f"select sum({_LIVED_MS[table]}) from {table}").fetchone()[0] or 0)
        for number in sorted(files, reverse=True):
            if kept_ms <= 0:
                break
            kept_ms -= files.pop(number)
        if files:
            went = sorted(files)[:max(len(files) // 10, 1)]
            for number in went:
                past.path_of(folder, kind, number).unlink(missing_ok=True)
            return f"the oldest {len(went)} days of {what}"
        last, following = _lived(sql, table, "desc", KEPT_IN_NEED_DAYS * DAY_MS)
        if last is not None and following is not None:
            count = max(sql(f"select count(*) from {table} where end_ms < ?", (last,)).fetchone()[0] // 10, 1)
            sql(f"delete from {table} where end_ms in (select end_ms from {table} where end_ms < ? order by end_ms limit ?)", (last, count))
            return f"the oldest {count} rows of {what}"
    return ""


def _sealed(folder: Path, kind: str) -> dict[int, int]:
    """Sealed day -> what its file covers of life [ms]; a file that cannot be read counts as a whole day."""
    files, found = past.FolderFiles(folder), {}
    for number in files.numbers(kind):
        try:
            with files.open(kind, number) as file:
                found[number] = sum(min(max(block.end_ms - block.first_ms, 0),
                                        block.count * 60_000 if block.table == "minutes" else HOUR_MS)
                                    for block in Segment(file, kind).blocks if block.table in ("chunks", "minutes"))
        except OSError:
            found[number] = DAY_MS
    return found


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


def _whole(sql: Sql, statements: list[tuple[str, tuple[Any, ...]]]) -> None:
    sql("begin immediate")
    try:
        for statement, values in statements:
            sql(statement, values)
        sql("commit")
    except BaseException:
        sql("rollback")
        raise
