"""A damaged log: kept whole under another name, and what can be read of it takes its place by one rename.

Killed at any moment it begins again at the next start: a note beside the log says that it is not over, and nothing but
that last rename changes what the log's name stands for.
"""
import errno
import json
import logging
import os
import sqlite3
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

from monitor.store import chunks, commit_mark, disk_reserve, past, reading, rollups, segment
from monitor.store.checksum import add_checksum, columns_of, insert_of, is_sound
from monitor.store.columns import BLOB_COLUMNS, TABLE_COLUMNS
from monitor.store.past import Past

log = logging.getLogger("ampledger.salvage")
STEP = 500
#: A minute without any raw reading is missing; fewer readings than this share of the usual number are told too.
FEW = 0.7

#: what is brought over first: without it the rest says little
ORDER = ("meta", "boots", "tracker_state", "alerts", "events", "gaps", "findings", "days", "hours", "forecasts", "quarters", "minutes",
         "chunks", "samples", "cranks")
#: tables of which the sealed days have copies, to fill what the present lost
_COPIED = ("meta", "boots", "alerts", "events", "gaps", "forecasts")
_MOVED = {"chunks": 1, "cranks": 0, "minutes": 0, "quarters": 0}


@dataclass
class Salvaged:
    """What came over (rows by table), rows that were there and could not be believed, and spans [ms] that are missing."""

    rows: dict[str, int] = field(default_factory=dict)
    refused: dict[str, int] = field(default_factory=dict)
    missing: list[tuple[str, int, int]] = field(default_factory=list)


def part_of(database: Path) -> Path:
    """Where the new log grows."""
    return database.with_name(database.name + ".salvage")


def note_of(database: Path) -> Path:
    """The note that a salvage is not over."""
    return database.with_name(database.name + ".salvaging")


def unfinished(database: Path) -> str:
    """Why a salvage was begun that is not over, or ""."""
    note = _note(database)
    if note is None:
        return ""
    if note.get("stage") == "in place" and not part_of(database).exists():
        with suppress(OSError):
            note_of(database).unlink(missing_ok=True)
        return ""
    return str(note.get("why", "a salvage was interrupted"))


def set_aside(database: Path, word: str = "damaged") -> Path:
    """Renames a log, its companions and its sealed days out of the way; returns where it lies now.

    Raises
    ------
    OSError : the folder cannot be written
    """
    aside = _free_name(database, word)
    for ending in ("-wal", "-shm"):  # the companions first: never a fresh log beside an old -wal
        companion = database.with_name(database.name + ending)
        if companion.exists():
            companion.rename(aside.with_name(aside.name + ending))
    sealed = past.folder_of(database)
    if sealed.exists():
        sealed.rename(past.folder_of(aside))
    database.rename(aside)
    return aside


def rescue(database: Path, why: str) -> str:
    """Puts what can be read of a damaged log in its place; the damaged one stays beside it. Returns a sentence for the owner.

    Raises
    ------
    OSError, sqlalchemy.exc.DatabaseError : there is no room, or no new log can be made there; the damaged one is as it was
    """
    aside = _begin(database, why)
    log.error("the log is damaged (%s); kept as %s", why, aside.name if aside else "nothing")
    part = part_of(database)
    while True:
        for file in (part, *_companions(part)):
            file.unlink(missing_ok=True)
        try:
            found = _build(part, aside, Past(past.FolderFiles(past.folder_of(database))))
            break
        except Exception as error:
            if not _is_full(error) or not disk_reserve.give_up(database):
                raise
            log.warning("no room for the salvage: the disk reserve is given up")
    with open(part, "rb") as grown:
        os.fsync(grown.fileno())
    _write_note(database, {"aside": aside.name if aside else "", "why": why, "stage": "in place"})
    for file in _companions(database):  # they belong to the damaged one, which has them under its other name
        file.unlink(missing_ok=True)
    commit_mark.forget(database)
    os.replace(part, database)
    segment.sync_folder(database.parent)
    note_of(database).unlink(missing_ok=True)
    return describe(found, why, aside)


def bring_over(aside: Path | None, connection: Any, sealed: Past) -> Salvaged:
    """Copies every row that can be read and is as it was written into an open, empty log; the sealed days fill what they can.

    Parameters
    ----------
    aside : the damaged log, or None where there is none
    connection : SQLAlchemy's, of the new log
    sealed : the sealed days beside it
    """
    found = Salvaged()
    sql = connection.exec_driver_sql
    for table in ORDER:
        names = columns_of(table) if table in TABLE_COLUMNS else ", ".join(BLOB_COLUMNS[table])
        statement = (insert_of(table) if table in TABLE_COLUMNS else
                     f"insert into {table} ({names}) values ({', '.join('?' * len(BLOB_COLUMNS[table]))})").replace(
                         "insert or replace", "insert").replace("insert into", "insert or ignore into")
        for rows in batched(_readable(aside, table, names) if aside is not None else (), STEP):
            sql("begin immediate")
            for row in rows:
                if table in _MOVED and _is_sealed(row, _MOVED[table], sealed.until_ms):
                    continue
                try:
                    if not _is_good(table, row):
                        raise ValueError("its checksum does not fit")
                    found.rows[table] = found.rows.get(table, 0) + sql(statement, tuple(row)).rowcount
                except Exception as error:
                    if _is_full(error):
                        sql("rollback")
                        raise
                    found.refused[table] = found.refused.get(table, 0) + 1
                    log.debug("%s: %s", table, error)
            sql("commit")
    _fill(sql, sealed, found)
    found.missing = _holes(sql, sealed)
    return found


def describe(found: Salvaged, why: str, aside: Path | None) -> str:
    """A sentence for the owner: what was wrong, what is missing, what to do.

    found: what was saved and what is missing; why: what was wrong; aside: where the damaged file was put, None: nowhere.
    """
    rows = ", ".join(f"{count} {name}" for name, count in found.rows.items()) or "nothing"
    gone = [f"{what} {format_moment(a)} to {format_moment(b)}" for what, a, b in found.missing[:6]]
    if len(found.missing) > 6:
        gone.append(f"{len(found.missing) - 6} more spans")
    gone += [f"{count} rows of {table}" for table, count in found.refused.items()]
    missing = "; ".join(gone) or "nothing that was logged"
    kept = f" The damaged one is kept as {aside.name}." if aside is not None else ""
    return (f"The log was damaged ({why}). Missing: {missing}. What could be read is in a new log ({rows}).{kept} "
            "A second time means: a new card.")


def batched(rows: Iterable[tuple[Any, ...]], size: int) -> Iterator[list[tuple[Any, ...]]]:
    """Lists of at most `size` rows."""
    rows = iter(rows)
    while part := list(islice(rows, size)):
        yield part


def format_moment(at_ms: int) -> str:
    """A moment of the line of time, as events write it: their reader knows its date, the salvage may not."""
    days, rest = divmod(at_ms // 1000, 86400)
    return f"day {days} {rest // 3600:02d}:{rest % 3600 // 60:02d}"


def _note(database: Path) -> dict[str, str] | None:
    try:
        found = json.loads(note_of(database).read_text(encoding="utf-8"))
        return found if isinstance(found, dict) else {}
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        return {}


def _write_note(database: Path, words: dict[str, str]) -> None:
    note = note_of(database)
    part = note.with_name(note.name + ".part")
    with open(part, "w", encoding="utf-8") as file:
        json.dump(words, file)
        file.flush()
        os.fsync(file.fileno())
    os.replace(part, note)
    segment.sync_folder(database.parent)


def _begin(database: Path, why: str) -> Path | None:
    """Writes the note, and gives the damaged log its second name; both once, however often this is begun."""
    note = _note(database) or {}
    aside = database.with_name(note["aside"]) if note.get("aside") else _free_name(database, "damaged")
    _write_note(database, {"aside": aside.name, "why": note.get("why", why)})
    for ending in ("", "-wal"):
        file, other = database.with_name(database.name + ending), aside.with_name(aside.name + ending)
        if file.exists() and not other.exists():
            _second_name(file, other)
    return aside if aside.exists() else None


def _second_name(file: Path, other: Path) -> None:
    try:
        os.link(file, other)
    except OSError:  # a file system without second names: a copy, whole or not at all
        part = other.with_name(other.name + ".part")
        with open(file, "rb") as source, open(part, "wb") as target:
            while data := source.read(1 << 20):
                target.write(data)
            os.fsync(target.fileno())
        os.replace(part, other)


def _build(part: Path, aside: Path | None, sealed: Past) -> Salvaged:
    from monitor.store.open_log import OpenLog

    new = OpenLog(part, salvaging=True)
    try:
        found = bring_over(aside, new.connection, sealed)
        sql = new.connection.exec_driver_sql
        for what, after_ms, until_ms in found.missing:
            sql(insert_of("gaps"), add_checksum("gaps", (after_ms, f"log: {what}", "the log was damaged", until_ms, 0)))
        return found
    finally:
        new.close()


def _fill(sql: Any, sealed: Past, found: Salvaged) -> None:
    """Rows that the present lost and the sealed days have; then roll-ups out of finer rows."""
    for table in _COPIED:
        statement = insert_of(table).replace("insert or replace", "insert or ignore")
        rows: Iterable[tuple[Any, ...]] = sealed.lines(table)
        if table in ("meta", "boots"):  # each day has them whole: the latest word stands
            rows = {row[0]: row for row in rows}.values()
        sql("begin immediate")
        for row in rows:
            with suppress(Exception):
                found.rows[table] = found.rows.get(table, 0) + sql(statement, add_checksum(table, row)).rowcount
        sql("commit")
    sql("begin immediate")
    for level in ("hours", "days"):
        statement = insert_of(level).replace("insert or replace", "insert or ignore")
        for row in sealed.rows(level, -(2**62), 2**62):
            found.rows[level] = found.rows.get(level, 0) + sql(statement, add_checksum(level, row)).rowcount
    rollups.fill(sql)
    sql("commit")


def _holes(sql: Any, sealed: Past) -> list[tuple[str, int, int]]:
    """Spans that have no minutes, no quarters or no raw readings where there were some, as far as the present goes back."""
    holes = []
    after = max(sealed.until_ms, 0) or None
    minutes = sql("select end_ms, start_ms, covered_s from minutes order by end_ms").fetchall()
    for end, start, _ in minutes:
        if after is not None and start > after:
            holes.append(("minutes", after, start))
        after = end
    spans = [(row[0], row[1], row[2]) for row in sql("select at_ms, end_ms, count from chunks order by at_ms")]
    loose = [row[0] for row in sql("select at_ms from samples order by at_ms")]
    return holes + _raw_holes(minutes, spans, loose)


def _raw_holes(minutes: list[Any], spans: list[tuple[int, int, int]], loose: list[int]) -> list[tuple[str, int, int]]:
    """Minutes that were measured and of which no raw reading is left, or too few."""
    per_minute = sorted(bisect_right(loose, end) - bisect_right(loose, start) for end, start, covered in minutes
                        if (covered or 0) > 50 and loose and start >= loose[0] and end <= loose[-1])
    usual = per_minute[len(per_minute) // 2] if per_minute else 1
    holes: list[tuple[str, int, int]] = []
    firsts = [span[0] for span in spans]
    for end, start, covered in minutes:
        if (covered or 0) < 50:
            continue
        place = bisect_right(firsts, end) - 1
        packed = place >= 0 and spans[place][1] > start
        count = bisect_right(loose, end) - bisect_right(loose, start)
        if packed or count >= FEW * usual:
            continue
        if holes and holes[-1][2] >= start:
            holes[-1] = ("raw readings", holes[-1][1], end)
        else:
            holes.append(("raw readings", start, end))
    return holes


def _is_sealed(row: tuple[Any, ...], place: int, until_ms: int) -> bool:
    return isinstance(row[place], int) and row[place] <= until_ms


def _is_good(table: str, row: tuple[Any, ...]) -> bool:
    if table in TABLE_COLUMNS:
        return is_sound(table, row)
    try:
        if table == "chunks":
            chunks.unpack(*row)
        elif table == "cranks":
            return reading.text_of(*row) is not None
        return True  # states and findings are judged when they are read
    except (chunks.Damaged, TypeError, IndexError, ValueError):
        return False


def _is_full(error: BaseException) -> bool:
    cause = getattr(error, "orig", None) or error
    return getattr(cause, "sqlite_errorname", "") == "SQLITE_FULL" or getattr(cause, "errno", None) in (errno.ENOSPC, errno.EDQUOT)


def _companions(database: Path) -> tuple[Path, ...]:
    return tuple(database.with_name(database.name + ending) for ending in ("-wal", "-shm"))


def _free_name(database: Path, word: str) -> Path:
    number = 1
    while (aside := database.with_name(f"{database.stem}.{word}-{number}{database.suffix}")).exists():
        number += 1
    return aside


def _readable(aside: Path, table: str, names: str) -> Iterator[tuple[Any, ...]]:
    """Rows from the front until reading breaks, then from the back until it breaks again or meets the first part."""
    last: tuple[Any, ...] | None = None
    known = _columns_in(aside, table)
    if known:  # a log of an earlier shape is salvaged too
        names = ", ".join(name if name in known else "null" for name in names.split(", "))
    key = names.partition(",")[0]
    for direction in ("", " desc"):
        try:
            with closing(sqlite3.connect(f"{aside.resolve().as_uri()}?mode=ro", uri=True)) as old:
                for row in old.execute(f"select {names} from {table} order by {key}{direction}"):
                    if direction and row == last:
                        return
                    yield row
                    last = last if direction else row
            return  # all of it came
        except (sqlite3.Error, OverflowError, UnicodeDecodeError) as error:
            log.info("%s breaks off%s: %s", table, " from its end" if direction else "", error)


def _columns_in(aside: Path, table: str) -> set[str]:
    try:
        with closing(sqlite3.connect(f"{aside.resolve().as_uri()}?mode=ro", uri=True)) as old:
            return {row[1] for row in old.execute(f"pragma table_info({table})")}
    except sqlite3.Error:
        return set()
