"""A copy of the log while it is written, proved before it counts; and the way back."""
import sqlite3
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from monitor.store import check, chunks, migrate, past, restoring
from monitor.store.all_or_nothing import sync_file, sync_folder
from monitor.store.checksum import columns_of, is_sound
from monitor.store.columns import TABLE_COLUMNS
from monitor.store.lock import hold_lock

#: Nightly copies that stay (choice: damage is found within a night, and a day's sleep is left).
KEPT_COPIES = 3


class NotCopied(Exception):
    """A copy that was not made, or is not good; one sentence for a person."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What reading a log whole found."""

    minutes: int
    hours_packed: int
    damaged_hours: int
    version: str


def backup(database: Path, target: Path, progress: Callable[[int, int], None] | None = None) -> Proof:
    """Copies the log into the file `target`, through SQLite's online backup; the daemon may go on writing.

    The copy is read whole before it takes its name: a copy that has a name is good. progress(left, all) counts pages.

    database: the log's file; target: the copy's file, not there yet; progress: is given pages left and all pages.

    Raises
    ------
    NotCopied : with the reason
    """
    if not database.exists():
        raise NotCopied(f"{database}: there is no log")
    if target.exists() and target.samefile(database):
        raise NotCopied(f"{target} is the log itself; name another file")
    part = target.with_name(target.name + ".part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part.unlink(missing_ok=True)
        with (closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True)) as source,
              closing(sqlite3.connect(part)) as copy):
            source.backup(copy, pages=-1, progress=(lambda _, left, whole: progress(left, whole)) if progress else None)
            copy.execute("pragma journal_mode = delete")
            past.fold(past.of_log(database, source), copy)
        proof = prove(part)
        sync_file(part)
        part.replace(target)
        sync_folder(target.parent)
        return proof
    except (sqlite3.Error, OSError) as error:
        raise NotCopied(f"{target}: {getattr(error, 'strerror', None) or error}") from error
    finally:
        part.unlink(missing_ok=True)


def prove(database: Path) -> Proof:
    """Reads a log whole: SQLite's own check, every row's and every block's checksum, its shape.

    Raises
    ------
    NotCopied : it is no log, or SQLite's check finds fault. Damaged rows and blocks are counted, not raised: they
        were damaged when copied, and the rest is worth keeping.
    """
    try:
        with closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True)) as log:
            (verdict,) = log.execute("pragma integrity_check(1)").fetchone()
            if verdict != "ok":
                raise NotCopied(f"{database}: {verdict}")
            version = migrate.version_of(log)
            if version is None:
                raise NotCopied(f"{database}: this is not a log of ampledger")
            sealed = past.of_log(database, log)
            damaged = sum(len(spans) for _, _, spans in check.check_files(sealed))
            hours, minutes = sealed.count("chunks"), sealed.count("minutes")
            for row in log.execute("select at_ms, end_ms, count, crc, body from chunks"):
                hours += 1
                try:
                    chunks.unpack(*row)
                except chunks.Damaged:
                    damaged += 1
            if version >= "0003":
                damaged += sum(not is_sound(table, row) for table in TABLE_COLUMNS for row in log.execute(
                    f"select {columns_of(table)} from {table}"))
            return Proof(minutes + log.execute("select count(*) from minutes").fetchone()[0], hours, damaged, version)
    except sqlite3.Error as error:
        raise NotCopied(f"{database}: {error}") from error


def restore(copy: Path, database: Path) -> Proof:
    """Puts a copy in the place of the log. The log that was there is kept beside it, renamed.

    Raises
    ------
    NotCopied : the copy is not good, or the daemon runs
    monitor.store.migrate.NewerLog : a later ampledger wrote it
    """
    if not copy.exists():
        raise NotCopied(f"{copy}: there is no such file")
    proof = prove(copy)
    if proof.version > migrate.HEAD:
        raise migrate.NewerLog(str(copy), proof.version)
    with hold_lock(database) as ours:
        if not ours:
            raise NotCopied(f"the daemon is writing {database}; stop it first (systemctl stop ampledger)")
        try:
            restoring.put_in_place(copy, database)
        except (sqlite3.Error, OSError) as error:
            raise NotCopied(f"{database}: {getattr(error, 'strerror', None) or error}") from error
    return proof
