"""Where the log ended: read at a start, before anything is written, quickly and without SQLAlchemy."""
import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from monitor.alerts.rules import Alert
from monitor.sample import Sample
from monitor.store import carving, checksum, commit_mark, migrate, past, read_only, restoring, saving, set_aside, state
from monitor.store.state import State
from monitor.store.time_labels import Gap, Heard, LastRow, Testimony, TimeLabel
from monitor.store.write_errors import classify_error, describe_error


@dataclass(frozen=True, slots=True)
class Resumed:
    """What a start goes on from. last None: there is no log yet. why: what went wrong in reading it, for a person."""

    state: State
    last: LastRow | None = None
    gaps: tuple[Gap, ...] = ()
    simulated: bool | None = None
    calibration: str | None = None
    shunt_configured: str | None = None  # what the configuration said of the shunt when the log was last written
    batteries: str | None = None
    lost: tuple[str, ...] = ()  # parts of the state that could not be read and begin afresh
    older: bool = False         # the newest generation was damaged, the one before was taken
    relearning: tuple[str, ...] = ()  # parts that were being learnt from the log again when it ended
    cut: bool = False           # the log was not closed: the power went, or the process was ended
    tail_lost_s: float = 0.0    # minutes that had been written and are gone, up to this moment (0: none)
    entries: str | None = None  # what the owner told, entry by entry
    self_watch: str | None = None  # what ampledger knows of its own checks and copies
    capacity_test: str | None = None  # the latest one that was asked for
    corrections: str | None = None  # of channels, found while the daemon ran
    load_names: str | None = None   # what the owner calls the loads
    trouble: str = ""           # "", "damaged", "unwritable" ...
    why: str = ""


def read(database: Path, fresh: State) -> Resumed:
    """The end of the log; `fresh` is the state to begin with where nothing was saved.

    Raises
    ------
    monitor.store.migrate.NewerLog : a later ampledger wrote it
    """
    found = _resume(database, fresh)
    if found.trouble == "unwritable" and database.exists():
        try:
            with read_only.copied_to_memory(database) as copy:
                return _resume(copy, fresh)
        except OSError as error:
            return replace(found, why=f"{found.why}; {error.strerror or error}")
    return found


def _resume(database: Path, fresh: State) -> Resumed:
    try:
        restoring.finish(database)
        if why := set_aside.why_unfinished(database):
            return Resumed(fresh, trouble="damaged", why=why)
        if not database.exists():
            if past.FolderFiles(past.folder_of(database)).numbers("books"):
                return Resumed(fresh, trouble="damaged", why="its file is gone, and its sealed days are there")
            return Resumed(fresh)
        written_utc_s = max(file.stat().st_mtime for file in (database, database.with_name(database.name + "-wal")) if file.exists())
        with suppress(OSError):
            set_aside.keep_wal(database)
        with _open(database) as log:
            version = migrate.version_of(log)
        if version is None:
            return Resumed(fresh)
        if version != migrate.HEAD:
            from monitor.store.open_log import OpenLog

            OpenLog(database).close()  # brings it to the present shape, or refuses
        with _open(database) as log:
            log.execute("begin")
            found = replace(_read(log, fresh, max(past.of_log(database, log).until_ms, 0)), **_compare(commit_mark.read(database), log))
            if found.tail_lost_s and carving.has_lost_frames(set_aside.kept_wal_of(database), commit_mark.read_map(database).page_bytes):
                return Resumed(fresh, trouble="damaged", why="its write-ahead log is damaged, and there are commits behind the damage")
            with suppress(OSError):
                set_aside.kept_wal_of(database).unlink(missing_ok=True)
            return found if found.last is None else replace(found, last=replace(found.last, written_utc_s=written_utc_s))
    except checksum.RowDamaged as error:
        return Resumed(fresh, trouble="damaged", why=str(error))
    except (TypeError, ValueError, KeyError, OverflowError) as error:  # values that no writer of ours has put there
        return Resumed(fresh, trouble="damaged", why=f"it holds impossible values ({error})")
    except migrate.NewerLog:
        raise
    except Exception as error:
        return Resumed(fresh, trouble=classify_error(error), why=describe_error(error))


def _open(database: Path) -> "closing[sqlite3.Connection]":
    return closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=rw", uri=True, timeout=5, isolation_level=None))


def relearning_of(text: str | None) -> tuple[str, ...]:
    """The parts named in what the log remembers of a relearning; none where there is none, or it is not understood."""
    try:
        return tuple(map(str, json.loads(text)["parts"])) if text else ()
    except (ValueError, KeyError, TypeError):
        return ()


def _compare(mark: commit_mark.Mark | None, log: sqlite3.Connection) -> dict[str, Any]:
    """What the mark outside the log says of its end; nothing where there is none."""
    if mark is None:
        return {}
    generation, event_id = (log.execute(f"select coalesce(max({column}), 0) from {table}").fetchone()[0]
                            for column, table in (("generation", "tracker_state"), ("id", "events")))
    behind = mark.generation > generation or mark.event_id > event_id
    return {"cut": not mark.closed, "tail_lost_s": mark.minute_ms / 1000 if behind else 0.0}


def _verified_rows(log: sqlite3.Connection, table: str, where: str = "") -> Iterator[tuple[Any, ...]]:
    """Rows of a table; raises RowDamaged (a ValueError) at one whose checksum does not fit."""
    for row in log.execute(f"select {checksum.columns_of(table)} from {table} {where}"):
        yield tuple(checksum.verify(table, row))


def _read(log: sqlite3.Connection, fresh: State, sealed_ms: int) -> Resumed:
    meta = dict(_verified_rows(log, "meta"))
    labels = [TimeLabel(at / 1000, boot, offset / 1000, sigma, bool(trusted), source, gap, doubt, boot_offset / 1000)
              for at, boot, offset, sigma, trusted, source, gap, doubt, boot_offset in _verified_rows(log, "boots", "order by at_ms")]
    gaps = tuple(Gap(q, why, start / 1000, None, count) for start, q, why, _, count in _verified_rows(
        log, "gaps", "where until_ms is null"))
    held = fresh
    lost: tuple[str, ...] = ()
    texts, generation, missing = state.newest(log.execute("select generation, whole, at_ms, format, crc, body from tracker_state"))
    if texts is not None:
        held, lost = state.unpack(texts, fresh)
    elif generation or log.execute("select 1 from minutes limit 1").fetchone() or sealed_ms:
        lost = ("everything",)
    older = texts is not None and missing > 0
    if "alerts" in lost or texts is None:
        held = replace(held, alerts=_alerts(log, fresh))

    def highest(table: str, column: str) -> int:
        found: int = log.execute(f"select coalesce(max({column}), 0) from {table}").fetchone()[0]
        return found

    rows_s = max(highest("samples", "at_ms"), highest("chunks", "end_ms"), highest("minutes", "end_ms"), sealed_ms) / 1000
    seen = [s for s in (held.gathering.before, *held.gathering.samples) if s is not None]
    if rows_s > (seen[-1].at_s if seen else -1.0):
        # the state has not seen the latest rows: they are a gap to it, and never counted twice
        before = Sample(seen[-1].at_s) if seen else None
        held = replace(held, gathering=replace(held.gathering, before=before, samples=()))
    last = None
    if labels:
        ended_s = max(rows_s, labels[-1].at_s, seen[-1].at_s if seen else 0.0)
        last = LastRow(ended_s, labels[-1].boot_offset_s, tuple(labels), _read_witnesses(meta.get("heard")))
    return Resumed(held, last, gaps, meta["simulated"] == "1" if "simulated" in meta else None, meta.get("calibration"),
                   meta.get("shunt_configured"), meta.get("batteries"), lost, older, relearning_of(meta.get("relearning")),
                   self_watch=meta.get("self_watch"), capacity_test=meta.get("capacity_test"), entries=meta.get("entries"),
                   corrections=meta.get("corrections"), load_names=meta.get("load_names"))


def _read_witnesses(text: str | None) -> tuple[Testimony, ...] | None:
    """The witnesses of the time, None where they were not kept or cannot be read."""
    try:
        return None if text is None else saving.from_text(Heard, text).witnesses
    except ValueError:
        return None


def _alerts(log: sqlite3.Connection, fresh: State) -> Any:
    """The alert rules' memory out of the table of alerts: open ones go on, numbers are not given twice."""
    held = fresh.alerts
    if not hasattr(held, "next_id"):
        return held
    alerts = []
    for *_, body in _verified_rows(log, "alerts", "order by id desc limit 50"):
        try:
            alerts.append(saving.from_text(Alert, body))
        except ValueError:
            continue
    highest = log.execute("select coalesce(max(id), 0) from alerts").fetchone()[0]
    return replace(held, alerts=tuple(sorted(alerts, key=lambda a: a.id)), next_id=highest + 1)
