"""Old rows made small, then dropped: raw hours packed, raw and minutes kept for a time, roll-ups for years."""
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from monitor.store import checksum, chunks, past, segment
from monitor.store.all_or_nothing import transaction
from monitor.store.segment import Segment
from monitor.store.write_queue import hour_end

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
    """Moves whole hours of raw rows, older than LOOSE_HOURS, into chunks; returns how many. Each hour is one transaction.

    sql: runs a statement; now_ms: the log's time [ms]; most: at most so many hours.
    """
    until = now_ms - now_ms % HOUR_MS - LOOSE_HOURS * HOUR_MS
    done = 0
    while done < most:
        first = sql("select min(at_ms) from samples").fetchone()[0]
        if first is None or first > until:
            break
        end = hour_end(first)
        if end > until:
            break
        loose = [tuple(checksum.verify("samples", row)) for row in sql(
            f"select {checksum.columns_of('samples')} from samples where at_ms <= ? order by at_ms", (end,)).fetchall()]
        # a commit that was called a failure and was none after all: its rows come again, some of them packed
        again = sql("select at_ms, end_ms, count, crc, body from chunks where end_ms >= ? and at_ms <= ?", (first, loose[-1][0])).fetchall()
        by_moment = {row[0]: row for row in (*(row for chunk in again for row in chunks.unpack(*chunk)), *loose)}
        rows = [by_moment[moment] for moment in sorted(by_moment)]
        packed = chunks.pack(rows)
        if chunks.unpack(*packed) != rows:
            raise chunks.Damaged(f"the hour until {end / 1000:.0f} s does not come back from its chunk; its rows are kept")
        with transaction(sql):
            for chunk in again:
                sql("delete from chunks where at_ms = ?", (chunk[0],))
            sql("insert or replace into chunks (at_ms, end_ms, count, crc, body) values (?, ?, ?, ?, ?)", packed)
            sql("delete from samples where at_ms <= ?", (end,))
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
        files = _sealed_life_ms(folder, kind)
        if files:
            if beyond_ms + sum(files.values()) >= files[oldest := min(files)]:
                _drop(folder, kind, oldest)
        elif (last := _walk_rows(sql, table, "asc", min(beyond_ms, DAY_MS))[0]) is not None:
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
        files = _sealed_life_ms(folder, kind) if kind else {}
        kept_ms = KEPT_IN_NEED_DAYS * DAY_MS - (sql(f"select sum({_LIVED_MS[table]}) from {table}").fetchone()[0] or 0)
        for number in sorted(files, reverse=True):
            if kept_ms <= 0:
                break
            kept_ms -= files.pop(number)
        if files:
            went = sorted(files)[:max(len(files) // 10, 1)]
            for number in went:
                _drop(folder, kind, number)
            return f"the oldest {len(went)} days of {what}"
        last, following = _walk_rows(sql, table, "desc", KEPT_IN_NEED_DAYS * DAY_MS)
        if last is not None and following is not None:
            count = max(sql(f"select count(*) from {table} where end_ms < ?", (last,)).fetchone()[0] // 10, 1)
            sql(f"delete from {table} where end_ms in (select end_ms from {table} where end_ms < ? order by end_ms limit ?)", (last, count))
            return f"the oldest {count} rows of {what}"
    return ""


def _sealed_life_ms(folder: Path, kind: str) -> dict[int, int]:
    """Sealed day -> what its file covers of life [ms]; one that cannot be read counts as a whole day, one with starts alone not at all."""
    files, found = past.FolderFiles(folder), {}
    for number in files.numbers(kind):
        try:
            with files.open(kind, number) as file:
                blocks = Segment(file, kind).blocks
        except OSError:
            found[number] = DAY_MS
            continue
        if any(block.table != "cranks" for block in blocks) or not blocks:
            found[number] = sum(min(max(block.end_ms - block.first_ms, 0), block.count * 60_000 if block.table == "minutes" else HOUR_MS)
                                for block in blocks if block.table in ("chunks", "minutes"))
    return found


def _drop(folder: Path, kind: str, number: int) -> None:
    """Takes a sealed file away, but for the quick readings of starts in it; where there is no room to write those anew, all of it."""
    path = past.path_of(folder, kind, number)
    with suppress(OSError):
        with open(path, "rb") as file:
            kept = [pair for pair in past.read_blocks(file, path.name) if pair[0].table == "cranks" and pair[1]]
        if kept:
            segment.write(path, kept)
            return
    path.unlink(missing_ok=True)


def _walk_rows(sql: Sql, table: str, way: str, up_to_ms: int) -> tuple[int | None, int | None]:
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
