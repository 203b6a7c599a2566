"""Reads a log whole and says what is damaged: the present's pages and rows, and every byte of the sealed days."""
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from monitor.store import chunks, past, reading
from monitor.store.checksum import columns_of, is_sound
from monitor.store.columns import TABLE_COLUMNS
from monitor.store.past import KINDS, Past

#: what is damaged in a sealed file: (table, first moment [ms], last moment [ms], rows); table "" is all of it
Span = tuple[str, int, int, int]


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found. present says what is wrong there ("" where nothing is); files names damaged sealed files."""

    present: str
    rows: int
    files: tuple[tuple[str, int, tuple[Span, ...]], ...]
    days: int

    @property
    def sound(self) -> bool:
        """Whether nothing is damaged."""
        return not self.present and not self.files


def check(database: Path) -> Checked:
    """Reads all of a log.

    Raises
    ------
    sqlite3.Error : the present cannot be opened at all
    """
    with closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)) as log:
        sealed = past.of_log(database, log)
        present, rows = check_present(log)
        return Checked(present, rows, tuple(check_files(sealed)), len(sealed.files.numbers("books")))


def check_present(log: sqlite3.Connection) -> tuple[str, int]:
    """("" or what is wrong, rows read) of the present."""
    count = 0
    try:
        (verdict,) = log.execute("pragma integrity_check(1)").fetchone()
        if verdict != "ok":
            return str(verdict), 0
        for table in TABLE_COLUMNS:
            for row in log.execute(f"select {columns_of(table)} from {table}"):
                count += 1
                if not is_sound(table, row):
                    return f"row {row[0]!r:.40} of {table} is not as it was written", count
        for row in log.execute("select at_ms, end_ms, count, crc, body from chunks"):
            count += 1
            chunks.unpack(*row)
        for at_ms, crc, body in log.execute("select at_ms, crc, body from cranks"):
            count += 1
            if reading.text_of(at_ms, crc, body) is None:
                return f"the quick readings of {at_ms / 1000:.0f} s are not as they were written", count
    except (sqlite3.DatabaseError, ValueError, TypeError, OverflowError) as error:
        return str(error), count
    return "", count


def check_files(sealed: Past) -> Iterator[tuple[str, int, tuple[Span, ...]]]:
    """Every damaged sealed file as (kind, day, what of it)."""
    for kind in KINDS:
        for number in sealed.files.numbers(kind):
            damage = sealed.damage(kind, number)
            if damage:
                yield kind, number, tuple(damage)
