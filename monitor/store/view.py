"""One moment of the log to read from: the sealed days and the present as one, every row proved by its checksum."""
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cached_property
from operator import itemgetter
from pathlib import Path
from typing import Any

from monitor.store import chunks, past, reading
from monitor.store.checksum import columns_of, is_sound, level_reader
from monitor.store.columns import TABLE_COLUMNS
from monitor.store.past import Damaged, Past
from monitor.store.reading import Span


@contextmanager
def open_view(database: Path) -> Iterator["View"]:
    """The log, for one question or a few that belong together. Raises NoLog."""
    with reading.open_for_reading(database) as connection:
        connection.execute("select 1 from meta limit 1").fetchone()  # the present stands still before the sealed days are looked at
        yield View(connection, past.of_log(database, connection))


class View:
    """Rows of the log; damaged ones are left out, and told to `damaged` where one is given."""

    def __init__(self, connection: sqlite3.Connection, sealed: Past) -> None:
        self.connection, self.past = connection, sealed

    @cached_property
    def labels(self) -> list[Span]:
        """How the line of time is labelled."""
        return reading.spans(self.connection)

    def rows(self, table: str, where: str = "", values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Rows of a table that the present has whole, in the table's own order of columns.

        Parameters
        ----------
        table : not one whose rows move into sealed days
        where : SQL behind the table's name
        values : for the question marks in it
        """
        found = self.connection.execute(f"select {columns_of(table)} from {table} {where}", values)
        return [row[:-1] for row in found if is_sound(table, row)]

    def meta(self, name: str) -> str | None:
        """A word about the log as a whole."""
        rows = self.rows("meta", "where name = ?", (name,))
        return rows[0][1] if rows else None

    def findings_text(self) -> tuple[int, str | None]:
        """(at_ms, text) of the latest findings; the text is None where they are damaged."""
        return reading.findings_text(self.connection.execute("select id, at_ms, crc, body from findings").fetchall())

    def first_ms(self, level: str) -> int | None:
        """The end of the first row of a level [ms]."""
        first = self._present_first(level)
        if level in ("minutes", "quarters") and (numbers := self.past.files.numbers(past.KIND_OF[level])):
            row = self.past.first_row(level, numbers[0])
            first = row[0] if row is not None else first
        return first

    def ends(self) -> tuple[int | None, int | None]:
        """First and last moment of the log's minutes and quarters [ms]; None, None while it is empty."""
        firsts: list[int] = []
        lasts: list[int] = []
        for level in ("minutes", "quarters"):
            for found, column, way in ((firsts, "start_ms", "asc"), (lasts, "end_ms", "desc")):
                # the ends of an index, not a walk through all rows
                row = self.connection.execute(f"select {column} from {level} order by end_ms {way} limit 1").fetchone()
                found += row or ()
            numbers = self.past.files.numbers(past.KIND_OF[level])
            if numbers:
                first = self.past.first_row(level, numbers[0])
                firsts += [] if first is None or first[1] is None else [first[1]]
                lasts += (self.past.until_ms,) if not lasts else ()
        return min(firsts, default=None), max(lasts, default=None)

    def rows_of_level(self, level: str, after_ms: int, until_ms: int, wanted: Sequence[str] | None = None,
                      damaged: Damaged | None = None) -> Iterator[tuple[Any, ...]]:
        """Rows of a level with after_ms < end_ms <= until_ms, in order.

        Parameters
        ----------
        level : minutes, quarters, hours or days
        after_ms, until_ms : span on the line of time [ms]
        wanted : columns to give, default all
        damaged : is told of what cannot be read
        """
        names = TABLE_COLUMNS[level]
        if level in ("minutes", "quarters"):
            yield from self.past.rows(level, after_ms, until_ms, wanted, damaged)
            after_ms = max(after_ms, min(self.past.until_ms, until_ms))
        places = range(len(names)) if wanted is None else [names.index(name) for name in wanted]
        pick = itemgetter(*places) if len(places) > 1 else lambda row: (row[places[0]],)
        columns, sound, none = level_reader(level)
        for row in self.connection.execute(f"select {columns} from {level} where end_ms > ? and end_ms <= ? order by end_ms",
                                           (after_ms, until_ms)):
            if sound(row):
                picked = pick(row)
                yield picked if none not in picked else tuple([None if value == none else value for value in picked])
            elif damaged is not None:
                damaged(level, row[0], row[0], 1)

    def raw(self, after_ms: int, until_ms: int, damaged: Damaged | None = None) -> Iterator[list[chunks.Row]]:
        """Raw rows with after_ms < at_ms <= until_ms, about an hour at a time, in order.

        after_ms, until_ms: of the log's time [ms]; damaged: is told of what is left out, None: it raises.
        """
        yield from self.past.hours(after_ms, until_ms, damaged)
        after_ms = max(after_ms, min(self.past.until_ms, until_ms))
        places = self.connection.execute("select at_ms from chunks where end_ms > ? and at_ms <= ? order by at_ms",
                                         (after_ms, until_ms)).fetchall()
        loose = self._loose(after_ms, until_ms, damaged)
        waits = next(loose, None)  # the first loose row that was not given yet
        for place in places:
            row = self.connection.execute("select at_ms, end_ms, count, crc, body from chunks where at_ms = ?", place).fetchone()
            try:
                rows = chunks.unpack(*row)
            except (chunks.Damaged, TypeError) as error:
                if damaged is not None and row is not None:
                    damaged("chunks", row[0], row[1] if isinstance(error, chunks.Damaged) else row[0], 0)
                continue
            hour = [r for r in rows if after_ms < r[0] <= until_ms]
            early = []  # loose rows before a packed one, or among its rows: of a time in which the log could not be written
            while waits is not None and waits[0] <= rows[-1][0]:
                early.append(waits)
                waits = next(loose, None)
            if early:
                by_moment = {r[0]: r for r in (*early, *hour)}
                hour = [by_moment[moment] for moment in sorted(by_moment)]
            yield hour
        if waits is not None:
            yield [waits, *loose]

    def _loose(self, after_ms: int, until_ms: int, damaged: Damaged | None) -> Iterator[chunks.Row]:
        """Raw rows of the present that are not packed yet, in order."""
        for row in self.connection.execute(f"select {columns_of('samples')} from samples where at_ms > ? and at_ms <= ? order by at_ms",
                                           (after_ms, until_ms)):
            if is_sound("samples", row):
                yield row[:-1]
            elif damaged is not None:
                damaged("samples", row[0], row[0], 1)

    def last_sample(self) -> chunks.Row | None:
        """The latest raw row."""
        for row in self.connection.execute(f"select {columns_of('samples')} from samples order by at_ms desc limit 3"):
            if is_sound("samples", row):
                latest: chunks.Row = row[:-1]
                return latest
        return None

    def _present_first(self, level: str) -> int | None:
        first: int | None = self.connection.execute(f"select min(end_ms) from {level}").fetchone()[0]
        return first
