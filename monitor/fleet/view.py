"""A vehicle's collected rows as the log that they came from: the pages and the report ask it the same questions."""
import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext
from functools import cached_property
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, func, select

from monitor.fleet import database
from monitor.fleet.filing import Filing
from monitor.fleet.tables import days, findings
from monitor.logbook import live
from monitor.logbook.reader import Reader
from monitor.store import chunks
from monitor.store.columns import RAW_COLUMNS, TABLE_COLUMNS
from monitor.store.past import Damaged
from monitor.store.reading import NoLog, Span
from monitor.store.view import View


class CollectedView(View):
    """Rows of one line of one vehicle. Single readings stay on the board."""

    def __init__(self, connection: Connection, vehicle_id: int, line: int) -> None:
        self._sql, self._filed = connection, Filing(connection, vehicle_id, line)
        self._vehicle_id, self._line = vehicle_id, line

    @cached_property
    def labels(self) -> list[Span]:
        return self._filed.labels

    def rows(self, table: str, where: str = "", values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        mine = "where vehicle_id = ? and line = ?"
        rest = where.replace("where ", f"{mine} and ", 1) if where.startswith("where ") else f"{mine} {where}"
        given = (self._vehicle_id, self._line, *(2**62 if value == -1 else value for value in values))  # no limit
        question = f"select row from {table} {rest}"
        if self._sql.dialect.name == "postgresql":
            question = question.replace("?", "%s")
        return [tuple(json.loads(row[0])) for row in self._sql.exec_driver_sql(question, given)]

    def findings_text(self) -> tuple[int, str | None]:
        row = self._sql.execute(select(findings.c.at_ms, findings.c.text).where(
            findings.c.vehicle_id == self._vehicle_id, findings.c.line == self._line)).fetchone()
        return (0, None) if row is None else (row[0], row[1])

    def first_ms(self, level: str) -> int | None:
        if level == "days":
            found: int | None = self._sql.execute(select(func.min(days.c.end_ms)).where(
                days.c.vehicle_id == self._vehicle_id, days.c.line == self._line)).scalar()
            return found
        return self._filed.first_ms(level)

    def ends(self) -> tuple[int | None, int | None]:
        levels = ("minutes", "quarters")
        firsts, lasts = [self.first_ms(level) for level in levels], [self._filed.last_ms(level) for level in levels]
        return (min((first for first in firsts if first is not None), default=None),
                max((last for last in lasts if last is not None), default=None))

    def rows_of_level(self, level: str, after_ms: int, until_ms: int, wanted: Sequence[str] | None = None,
                      damaged: Damaged | None = None) -> Iterator[tuple[Any, ...]]:
        names = TABLE_COLUMNS[level]
        asked = list(names if wanted is None else wanted)
        if level == "days":
            places = [names.index(name) for name in asked]
            for day in self.rows("days", "where end_ms > ? and end_ms <= ? order by end_ms", (after_ms, until_ms)):
                yield tuple(day[place] for place in places)
            return
        for block in self._filed.between(level, after_ms, until_ms):
            try:
                for row in self._filed.rows_of(level, block, ("end_ms", *asked)):
                    if after_ms < (row[0] or 0) <= until_ms:
                        yield row[1:]
            except ValueError:
                if damaged is not None:
                    damaged(level, block.first_ms, block.end_ms, block.count)

    def raw(self, after_ms: int, until_ms: int, damaged: Damaged | None = None) -> Iterator[list[chunks.Row]]:  # noqa: ARG002 - as the log's
        return iter(())

    def last_sample(self) -> chunks.Row | None:
        """The means of the last minute, in the shape of a reading."""
        last = self._filed.last_ms("minutes")
        names = [name for name in RAW_COLUMNS if name in TABLE_COLUMNS["minutes"]]
        rows = [] if last is None else list(self.rows_of_level("minutes", last - 1, last, ("end_ms", *names)))
        if not rows:
            return None
        values = dict(zip(names, rows[-1][1:], strict=True))
        return (rows[-1][0], *(values.get(name) for name in RAW_COLUMNS))


class CollectedReader(Reader):
    """Questions to the rows of one vehicle, as to its log; each by a connection of its own, or all by the one that is given.

    source: the collection; vehicle_id, line: whose rows; name: of the vehicle; seen_utc_s: when its last batch came, UTC [s].
    """

    def __init__(self, source: Engine | Connection, vehicle_id: int, line: int, name: str, seen_utc_s: float = 0.0) -> None:
        super().__init__(Path(name))
        self._seen_utc_s = seen_utc_s
        self._source, self._vehicle_id, self._line = source, vehicle_id, line

    @contextmanager
    def _view(self) -> Iterator[View]:
        if self._moment is not None:
            yield self._moment
            return
        given = self._source
        with database.reading(given) if isinstance(given, Engine) else nullcontext(given) as connection:
            view = CollectedView(connection, self._vehicle_id, self._line)
            if not view.labels:
                raise NoLog(f"{self.database.name}: nothing has come from its board yet")
            yield view

    def _written_utc_s(self) -> float:
        return self._seen_utc_s

    def _memory(self) -> live.LiveState | None:
        return None
