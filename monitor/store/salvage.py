"""A damaged log: set aside whole, never deleted, and what can be read of it is brought into a new one."""
import logging
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from itertools import islice
from pathlib import Path
from typing import Any

from monitor.store import chunks, tables

log = logging.getLogger("ampledger.salvage")
STEP = 500


def set_aside(database: Path, word: str = "damaged") -> Path:
    """Renames a log and its companions out of the way; returns where it lies now.

    Raises
    ------
    OSError : the folder cannot be written
    """
    number = 1
    while (aside := database.with_name(f"{database.stem}.{word}-{number}{database.suffix}")).exists():
        number += 1
    for ending in ("-wal", "-shm"):  # the companions first: never a fresh log beside an old -wal
        companion = database.with_name(database.name + ending)
        if companion.exists():
            companion.rename(aside.with_name(aside.name + ending))
    database.rename(aside)
    return aside


def rescue(database: Path, why: str) -> str:
    """Sets a damaged log aside and begins a new one with what can be read; returns a sentence for the owner.

    Raises
    ------
    OSError, sqlalchemy.exc.DatabaseError : no new log can be made there either
    """
    from monitor.store.open_log import OpenLog

    aside = set_aside(database)
    log.error("the log is damaged (%s); set aside as %s", why, aside)
    new = OpenLog(database)
    try:
        brought = bring_over(aside, new.connection)
    finally:
        new.close()
    rows = ", ".join(f"{count} {name}" for name, count in brought.items()) or "nothing"
    return (f"The log was damaged ({why}). It was set aside whole as {aside.name}, and what could be read was brought into a "
            f"new one ({rows}). A second time means: a new card.")


def bring_over(aside: Path, connection: Any) -> dict[str, int]:
    """Copies every row that can still be read into an open, empty log; returns rows by table.

    A chunk whose checksum does not fit is not brought: nothing that might be wrong is kept as if it were right.
    """
    brought: dict[str, int] = {}
    sql = connection.exec_driver_sql
    for table in tables.metadata.sorted_tables:
        names = [column.name for column in table.columns]
        statement = f"insert or ignore into {table.name} ({', '.join(names)}) values ({', '.join('?' * len(names))})"
        count = 0
        for rows in write_in_batches(_readable(aside, table.name, names), STEP):
            sql("begin immediate")
            for row in rows:
                if table.name == "chunks" and not _sound(row):
                    continue
                try:
                    sql(statement, row)
                    count += 1
                except Exception as error:  # a row of the wrong shape: it is not brought, the others are
                    log.debug("%s: %s", table.name, error)
            sql("commit")
        if count:
            brought[table.name] = count
    return brought


def write_in_batches(rows: Iterable[tuple], size: int) -> Iterator[list[tuple]]:
    """Lists of at most `size` rows."""
    rows = iter(rows)
    while part := list(islice(rows, size)):
        yield part


def _sound(row: tuple) -> bool:
    try:
        chunks.unpack(*row)
        return True
    except (chunks.Damaged, TypeError, IndexError, ValueError):
        return False


def _readable(aside: Path, table: str, names: list[str]) -> Iterator[tuple]:
    """Rows from the front until reading breaks, then from the back until it breaks again or meets the first part."""
    last: tuple | None = None
    for direction in ("", " desc"):
        try:
            with closing(sqlite3.connect(f"{aside.resolve().as_uri()}?mode=ro", uri=True)) as old:
                for row in old.execute(f"select {', '.join(names)} from {table} order by {names[0]}{direction}"):
                    if direction and row == last:
                        return
                    yield row
                    last = last if direction else row
            return  # all of it came
        except (sqlite3.Error, OverflowError, UnicodeDecodeError) as error:
            log.info("%s breaks off%s: %s", table, " from its end" if direction else "", error)
