"""A damaged log: kept whole under another name, and what can be read of it takes its place by one rename.

Killed at any moment it begins again at the next start: a note beside the log says that it is not over, and nothing but
that last rename changes what the log's name stands for.
"""
import errno
import json
import logging
import os
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from monitor.store import commit_mark, disk_reserve, holes, past, rollups, salvage_rows, set_aside
from monitor.store.all_or_nothing import sync_file, sync_folder, transaction, write_text
from monitor.store.checksum import DAMAGE, add_checksum, insert_of, meta_row
from monitor.store.columns import BLOB_COLUMNS, TABLE_COLUMNS
from monitor.store.open_log import OpenLog
from monitor.store.past import Past

log = logging.getLogger("ampledger.salvage")
#: Rows written in one transaction (choice: small enough that a bad one costs little to repeat).
STEP = 500

#: what is brought over first: without it the rest says little
ORDER = ("meta", "boots", "tracker_state", "alerts", "events", "gaps", "findings", "days", "hours", "forecasts", "quarters", "minutes",
         "chunks", "samples", "cranks")
#: tables of which the sealed days have copies, to fill what the present lost
_COPIED = ("meta", "boots", "alerts", "events", "gaps", "forecasts")
#: of these each sealed day has all
_WHOLE = ("meta", "boots")
_MOVED = {"chunks": 1, "cranks": 0, "minutes": 0, "quarters": 0, "samples": 0}
#: tables of which a lost row leaves no hole that can be seen
_UNCOUNTED = ("meta", "boots", "alerts", "events", "gaps", "forecasts", "cranks", "days")


@dataclass
class Salvaged:
    """What came over (rows by table), rows that were there and could not be believed, spans [ms] that are missing, and tables
    of which rows may be missing that nobody can count."""

    rows: dict[str, int] = field(default_factory=dict)
    refused: dict[str, int] = field(default_factory=dict)
    missing: list[tuple[str, int, int]] = field(default_factory=list)
    torn: list[str] = field(default_factory=list)


def rescue(database: Path, why: str) -> str:
    """Puts what can be read of a damaged log in its place; the damaged one stays beside it. Returns a sentence for the owner.

    Raises
    ------
    OSError, sqlalchemy.exc.DatabaseError : there is no room, or no new log can be made there; the damaged one is as it was
    """
    aside = _begin(database, why)
    log.error("the log is damaged (%s); kept as %s", why, aside.name if aside else "nothing")
    part = set_aside.part_of(database)
    while True:
        for file in (part, *set_aside.companions(part)):
            file.unlink(missing_ok=True)
        try:
            found = _build(part, aside, Past(past.FolderFiles(past.folder_of(database))), database, why)
            break
        except Exception as error:
            if not _is_full(error) or not disk_reserve.give_up(database):
                raise
            log.warning("no room for the salvage: the disk reserve is given up")
    sync_file(part)
    note = {"aside": aside.name if aside else "", "why": why, "map": asdict(_map(database)), "stage": "in place"}
    write_text(set_aside.note_of(database), json.dumps(note))
    for file in set_aside.companions(database):  # they belong to the damaged one, which has them under its other name
        file.unlink(missing_ok=True)
    commit_mark.forget(database)
    os.replace(part, database)
    sync_folder(database.parent)
    set_aside.note_of(database).unlink(missing_ok=True)
    return describe(found, why, aside)


def bring_over(aside: Path | None, connection: Any, sealed: Past, tables: commit_mark.TableMap | None = None,
               until_ms: int = 0) -> Salvaged:
    """Copies every row that can be read and is as it was written into an open, empty log; the sealed days fill what they can.

    Parameters
    ----------
    aside : the damaged log, or None where there is none
    connection : SQLAlchemy's, of the new log
    sealed : the sealed days beside it
    tables : where its tables begin, as far as that is known
    until_ms : how far it is known to have gone
    """
    found = Salvaged()
    sql = connection.exec_driver_sql
    with salvage_rows.open_carver(aside, tables or commit_mark.TableMap()) as carver:
        for table in ORDER:
            broken: list[str] = []
            torn = carver is not None and carver.is_broken(table)
            if carver is not None and carver.is_ahead:
                _bring(sql, table, salvage_rows.rows_of(carver, table), sealed, found)
            _bring(sql, table, salvage_rows.readable(aside, table, broken) if aside is not None else (), sealed, found)
            if carver is not None and (broken or torn or table in found.refused):  # a damaged name of a column spoils every row
                had = found.rows.get(table, 0)
                _bring(sql, table, salvage_rows.rows_of(carver, table), sealed, found)
                refused = found.refused.pop(table, 0) - found.rows.get(table, 0) + had
                found.refused |= {table: refused} if refused > 0 else {}
            if carver is not None and torn and table not in _WHOLE:
                _bring(sql, table, salvage_rows.strays_of(carver, table, _presence_test(sql, table)), sealed, found)
            found.torn += [table] if (torn or broken) and table in _UNCOUNTED else []
        _fill(sql, sealed, found)
        for table in _WHOLE:  # a copy in a sealed day is better than a stray, of which nobody knows when it was
            if carver is not None and carver.is_broken(table):
                _bring(sql, table, salvage_rows.strays_of(carver, table, _presence_test(sql, table)), sealed, found)
    found.missing = holes.find_holes(sql, sealed, until_ms)
    return found


def _bring(sql: Any, table: str, rows: Iterable[tuple[Any, ...]], sealed: Past, found: Salvaged) -> None:
    """Writes rows that are good and not there yet."""
    statement = insert_of(table) if table in TABLE_COLUMNS else (
        f"insert into {table} ({', '.join(BLOB_COLUMNS[table])}) values ({', '.join('?' * len(BLOB_COLUMNS[table]))})")
    statement = statement.replace("insert or replace", "insert").replace("insert into", "insert or ignore into")
    for part in salvage_rows.batched(rows, STEP):
        with transaction(sql):
            for row in part:
                if table in _MOVED and _is_sealed(row, _MOVED[table], sealed.until_ms):
                    continue
                try:
                    if not salvage_rows.is_good(table, row):
                        raise ValueError("its checksum does not fit")
                    if table in TABLE_COLUMNS and row[-1] is None:  # from before there were checksums
                        row = add_checksum(table, row[:-1])
                    found.rows[table] = found.rows.get(table, 0) + sql(statement, tuple(row)).rowcount
                except Exception as error:
                    if _is_full(error):
                        raise
                    found.refused[table] = found.refused.get(table, 0) + 1
                    log.debug("%s: %s", table, error)


def _presence_test(sql: Any, table: str) -> Callable[[tuple[Any, ...]], bool]:
    """A test of a row: whether the new log has it already. A day has one row, whatever its end was when it was written."""
    starts = {row[0] for row in sql("select start_ms from days")} if table == "days" else set()
    return lambda row: row[1] in starts


def describe(found: Salvaged, why: str, aside: Path | None) -> str:
    """A sentence for the owner: what was wrong, what is missing, what to do.

    found: what was saved and what is missing; why: what was wrong; aside: where the damaged file was put, None: nowhere.
    """
    rows = ", ".join(f"{count} {name}" for name, count in found.rows.items()) or "nothing"
    gone = [f"{what} {format_moment(a)} to {format_moment(b)}" for what, a, b in found.missing[:6]]
    if len(found.missing) > 6:
        gone.append(f"{len(found.missing) - 6} more spans")
    gone += [f"{count} rows of {table}" for table, count in found.refused.items()]
    gone += [f"perhaps rows of {table}" for table in found.torn]
    missing = "; ".join(gone) or "nothing that was logged"
    kept = f" The damaged one is kept as {aside.name}." if aside is not None else ""
    return (f"The log was damaged ({why}). Missing: {missing}. What could be read is in a new log ({rows}).{kept} "
            "A second time means: a new card.")


def format_moment(at_ms: int) -> str:
    """A moment of the line of time, as events write it: their reader knows its date, the salvage may not."""
    days, rest = divmod(at_ms // 1000, 86400)
    return f"day {days} {rest // 3600:02d}:{rest % 3600 // 60:02d}"


def _map(database: Path) -> commit_mark.TableMap:
    """Where the damaged log's tables begin: by the note of a salvage that was begun, else by the mark beside the log."""
    noted = commit_mark.map_of((set_aside.read_note(database) or {}).get("map"))
    return noted if noted.roots else commit_mark.read_map(database)


def _begin(database: Path, why: str) -> Path | None:
    """Writes the note, and gives the damaged log its second name; both once, however often this is begun."""
    note = set_aside.read_note(database) or {}
    aside = database.with_name(note["aside"]) if note.get("aside") else set_aside.free_name(database, "damaged")
    write_text(set_aside.note_of(database), json.dumps({"aside": aside.name, "why": note.get("why", why), "map": asdict(_map(database))}))
    for file, ending in ((database, ""), (set_aside.kept_wal_of(database), "-wal"), (database.with_name(database.name + "-wal"), "-wal")):
        other = aside.with_name(aside.name + ending)
        if file.exists() and not other.exists():
            set_aside.second_name(file, other)
    set_aside.kept_wal_of(database).unlink(missing_ok=True)
    return aside if aside.exists() else None


def _build(part: Path, aside: Path | None, sealed: Past, database: Path, why: str) -> Salvaged:
    """The new log beside the damaged one. It says itself what is missing: a power cut may come before anybody else has."""
    new = OpenLog(part, salvaging=True)
    try:
        mark = commit_mark.read(database)
        found = bring_over(aside, new.connection, sealed, _map(database), mark.minute_ms if mark is not None else 0)
        sql = new.connection.exec_driver_sql
        for what, after_ms, until_ms in found.missing:
            sql(insert_of("gaps"), add_checksum("gaps", (after_ms, f"log: {what}", "the log was damaged", until_ms, 0)))
        ends = sql("select max(end_ms) from minutes").fetchone()[0] or max(sealed.until_ms, 0)
        sql(*meta_row(DAMAGE, json.dumps((ends / 1000, describe(found, why, aside)))))
        return found
    finally:
        new.close()


def _fill(sql: Any, sealed: Past, found: Salvaged) -> None:
    """Rows that the present lost and the sealed days have; then roll-ups out of finer rows."""
    for table in _COPIED:
        statement = insert_of(table).replace("insert or replace", "insert or ignore")
        rows: Iterable[tuple[Any, ...]] = sealed.lines(table)
        if table in _WHOLE:  # each day has them whole: the latest word stands
            rows = {row[0]: row for row in rows}.values()
        with transaction(sql):
            for row in rows:
                with suppress(Exception):
                    found.rows[table] = found.rows.get(table, 0) + sql(statement, add_checksum(table, row)).rowcount
    with transaction(sql):
        for level in ("hours", "days"):
            statement = insert_of(level).replace("insert or replace", "insert or ignore")
            for row in sealed.rows(level, -(2**62), 2**62):
                found.rows[level] = found.rows.get(level, 0) + sql(statement, add_checksum(level, row)).rowcount
        rollups.fill(sql)


def _is_sealed(row: tuple[Any, ...], place: int, until_ms: int) -> bool:
    return isinstance(row[place], int) and row[place] <= until_ms


def _is_full(error: BaseException) -> bool:
    cause = getattr(error, "orig", None) or error
    return getattr(cause, "sqlite_errorname", "") == "SQLITE_FULL" or getattr(cause, "errno", None) in (errno.ENOSPC, errno.EDQUOT)
