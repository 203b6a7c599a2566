"""Rows of a damaged log: by SQLite as far as it reads, else page by page; of several versions of a row the latest."""
import logging
import sqlite3
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing, contextmanager
from itertools import islice
from operator import itemgetter
from pathlib import Path
from typing import Any

from monitor.store import chunks, commit_mark, reading, state
from monitor.store.carving import Carver, Row
from monitor.store.checksum import CRC, is_sound
from monitor.store.columns import BLOB_COLUMNS, TABLE_COLUMNS

log = logging.getLogger("ampledger.salvage")

#: what makes a row the same as another one, where that is not its first value
_KEY: dict[str, Callable[[Any], Any]] = {"gaps": itemgetter(0, 1), "days": itemgetter(1)}
#: of two versions of a row the one with more of this is the later one
_LATER: dict[str, Callable[[Any], Any]] = {
    "alerts": itemgetter(1), "gaps": lambda row: (row[3] is not None, row[4]), "days": itemgetter(0), "boots": itemgetter(4)}


def batched(rows: Iterable[tuple[Any, ...]], size: int) -> Iterator[list[tuple[Any, ...]]]:
    """Lists of at most `size` rows."""
    rows = iter(rows)
    while part := list(islice(rows, size)):
        yield part


def readable(aside: Path, table: str, broken: list[str]) -> Iterator[tuple[Any, ...]]:
    """Rows from the front until reading breaks, then from the back until it breaks again or meets the first part.

    aside : the damaged log
    table : which rows
    broken : is told why it broke
    """
    columns = (*TABLE_COLUMNS[table], "crc") if table in TABLE_COLUMNS else BLOB_COLUMNS[table]
    last: tuple[Any, ...] | None = None
    known = _columns_in(aside, table)
    if known:  # a log of an earlier shape is salvaged too
        columns = tuple(name if name in known else "null" for name in columns)
    key, names = columns[0], ", ".join(CRC if name == "crc" and table in TABLE_COLUMNS else name for name in columns)
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
            broken.append(str(error))


def _columns_in(aside: Path, table: str) -> set[str]:
    try:
        with closing(sqlite3.connect(f"{aside.resolve().as_uri()}?mode=ro", uri=True)) as old:
            return {row[1] for row in old.execute(f"pragma table_info({table})")}
    except sqlite3.Error:
        return set()


@contextmanager
def open_carver(damaged: Path | None, tables: commit_mark.TableMap) -> Iterator[Carver | None]:
    """The pages of a damaged log; None where there is none."""
    if damaged is None:
        yield None
        return
    known = {name: root for name, root in tables.roots.items() if name in TABLE_COLUMNS or name in _BLOBS}
    carver = Carver(damaged, known, tables.page_bytes)
    try:
        yield carver
    finally:
        carver.close()


def rows_of(carver: Carver, table: str) -> Iterator[Row]:
    """Rows that hang on the table's tree and are as they were written."""
    return (row for row in carver.rows(table) if _is_proved(table, row))


def strays_of(carver: Carver, table: str, known: Callable[[Row], bool]) -> list[Row]:
    """Rows that hang on no tree and are as they were written, the latest version of each.

    carver : the pages of the damaged log
    table : which rows
    known : whether a row is there already, in another version
    """
    found: dict[Any, Row] = {}
    key: Callable[[Any], Any] = _KEY.get(table, itemgetter(0))
    later: Callable[[Any], Any] = _LATER.get(table, lambda _: 0)
    for row in carver.strays(table):
        if _is_proved(table, row) and not (table == "findings" and row[0] != 1) and not known(row):
            before = found.get(key(row))
            if before is None or later(row) >= later(before):
                found[key(row)] = row
    return list(found.values())


def is_good(table: str, row: Row) -> bool:
    """Whether a row, all its columns, is as it was written; in a table of values one from before there were checksums counts as good."""
    try:
        return _BLOBS[table](row) if table in _BLOBS else is_sound(table, row)
    except (TypeError, ValueError, IndexError):
        return False


def _is_proved(table: str, row: Row) -> bool:
    return row[-1] is not None and is_good(table, row)


def _is_chunk(row: Row) -> bool:
    chunks.unpack(*row)
    return True


def _is_crank(row: Row) -> bool:
    return reading.text_of(*row) is not None


def _is_finding(row: Row) -> bool:
    """Row 2 is proved by row 1, when it is read."""
    return row[0] != 1 or reading.text_of(row[1], row[2], row[3]) is not None


_BLOBS: dict[str, Callable[[Row], bool]] = {
    "chunks": _is_chunk, "cranks": _is_crank, "tracker_state": state.is_sound, "findings": _is_finding}
