"""Where rows of minutes, quarters and hours are kept: blocks of at most a day, in the day's place, dated by the log's own labels."""
import json
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from monitor.fleet.database import insert_of
from monitor.fleet.tables import LEVEL_NUMBERS, blocks, boots, layouts
from monitor.store import column_codec, reading
from monitor.store.checksum import checksum_of
from monitor.store.columns import TABLE_COLUMNS
from monitor.store.reading import Span

Row = tuple[int | None, ...]


def day_text(utc_s: float) -> str:
    """A day as people and databases write it."""
    return day_of(utc_s).isoformat()


def day_of(utc_s: float) -> date:
    """The day (UTC) of a moment; what no calendar has becomes its first or last day."""
    try:
        return datetime.fromtimestamp(utc_s, UTC).date()
    except (OverflowError, ValueError, OSError):
        return date.max - timedelta(days=62) if utc_s > 0 else date.min


def spans_of(rows: Sequence[tuple[Any, ...]]) -> list[Span]:
    """How a line of time is labelled, from rows of the log's table boots in order."""
    ends = [row[0] for row in rows[1:]] + [2**62]
    return [Span(row[0], end, row[2], row[3], bool(row[4])) for row, end in zip(rows, ends, strict=bool(rows))]


class Filing:
    """The blocks of one line of one vehicle, inside the caller's transaction."""

    def __init__(self, connection: Connection, vehicle_id: int, line: int) -> None:
        self.connection, self.vehicle_id, self.line = connection, vehicle_id, line

    @cached_property
    def labels(self) -> list[Span]:
        """How the line of time is labelled."""
        rows = self.connection.execute(select(boots.c.row).where(boots.c.vehicle_id == self.vehicle_id, boots.c.line == self.line)
                                       .order_by(boots.c.at_ms))
        return spans_of([tuple(json.loads(row[0])) for row in rows])

    def utc_s(self, at_ms: int) -> float:
        """UTC of a moment of the line of time [s]."""
        return reading.utc_s(self.labels, at_ms)

    def last(self, level: str) -> tuple[int, date] | None:
        """The end of the last row of a level [ms], and the day that it is filed under."""
        row = self.connection.execute(
            select(blocks.c.end_ms, blocks.c.day).where(*self._of(level)).order_by(blocks.c.end_ms.desc()).limit(1)).fetchone()
        return None if row is None else (row[0], row[1])

    def last_ms(self, level: str) -> int | None:
        """The end of the last row of a level [ms]."""
        found = self.last(level)
        return None if found is None else found[0]

    def first_ms(self, level: str) -> int | None:
        """The beginning of the first row of a level [ms]."""
        found: int | None = self.connection.execute(
            select(blocks.c.first_ms).where(*self._of(level)).order_by(blocks.c.end_ms).limit(1)).scalar()
        return found

    def add(self, level: str, rows: Sequence[Row], latest: date | None, body: bytes | None = None) -> None:
        """Files rows that come after all that are here, in order; a day that is over by that is packed as one.

        level: minutes, quarters or hours; rows: in order; latest: the day of the last row that is here, None where none is; body: the
        same rows packed, where they came so.
        """
        for day, of_day in groupby(rows, lambda row: self._day(int(row[0] or 0))):
            if latest is not None and latest != day:
                self.merge(level, latest)
            found = list(of_day)
            self._put(level, day, found, body if len(found) == len(rows) else None)
            latest = day

    def merge(self, level: str, day: date) -> None:
        """Packs a level's rows of a day as one block."""
        found = self._blocks(*self._of(level), blocks.c.day == day)
        if len(found) < 2:
            return
        rows = [row for block in found for row in self.rows_of(level, block)]
        self.connection.execute(delete(blocks).where(*self._of(level), blocks.c.day == day))
        self._put(level, day, rows)

    def redate(self) -> None:
        """Puts each block into the place of the day that the labels give it now."""
        mine = (blocks.c.vehicle_id == self.vehicle_id, blocks.c.line == self.line)
        for level, end_ms, before in self.connection.execute(select(blocks.c.level, blocks.c.end_ms, blocks.c.day).where(*mine)).fetchall():
            day = self._day(end_ms)
            if day != before:
                self.connection.execute(update(blocks).where(*mine, blocks.c.level == level, blocks.c.end_ms == end_ms,
                                                             blocks.c.day == before).values(day=day))

    def split_at(self, at_ms: int) -> None:
        """Cuts the block that a moment lies in, so that what comes after it can be told from what comes before."""
        for level in LEVEL_NUMBERS:
            for block in self._blocks(*self._of(level), blocks.c.end_ms > at_ms, blocks.c.first_ms < at_ms):
                rows = list(self.rows_of(level, block))
                self.connection.execute(delete(blocks).where(*self._of(level), blocks.c.end_ms == block.end_ms, blocks.c.day == block.day))
                for part in ([r for r in rows if int(r[0] or 0) <= at_ms], [r for r in rows if int(r[0] or 0) > at_ms]):
                    if part:
                        self._put(level, block.day, part)

    def rows_of(self, level: str, block: Any, wanted: Sequence[str] | None = None) -> Iterator[Row]:
        """Rows of a block, with the columns that are wanted, all of the table's if none is named.

        level: its level; block: a row of the table; wanted: names of columns.
        """
        names = self._layouts[block.layout]
        wanted = TABLE_COLUMNS[level] if wanted is None else wanted
        places = [names.index(name) if name in names else len(names) for name in wanted]
        return zip(*column_codec.unpack(block.body, block.count, places), strict=True)

    def between(self, level: str, after_ms: int, until_ms: int) -> list[Any]:
        """The blocks that have rows of a span of the line of time [ms], in order.

        level: minutes, quarters or hours; after_ms, until_ms: the span [ms].
        """
        inside = [blocks.c.end_ms > after_ms, blocks.c.first_ms < until_ms]
        if after_ms > -(2**61) and until_ms < 2**61:  # the parts of other months need not be looked at
            days = sorted(day_of(self.utc_s(moment)) for moment in (after_ms, until_ms))
            inside += [blocks.c.day >= days[0] - timedelta(days=2), blocks.c.day <= days[1] + timedelta(days=2)]
        return self._blocks(*self._of(level), *inside)

    def _day(self, end_ms: int) -> date:
        """The day of a row that ends then: the one that ends at midnight is the last of its day."""
        return day_of(self.utc_s(end_ms - 1))

    def _of(self, level: str) -> tuple[Any, ...]:
        return (blocks.c.vehicle_id == self.vehicle_id, blocks.c.level == LEVEL_NUMBERS[level], blocks.c.line == self.line)

    def _blocks(self, *where: Any) -> list[Any]:
        return list(self.connection.execute(select(blocks).where(*where).order_by(blocks.c.level, blocks.c.end_ms)).fetchall())

    def _put(self, level: str, day: date, rows: list[Row], body: bytes | None = None) -> None:
        self.connection.execute(insert(blocks).values(
            vehicle_id=self.vehicle_id, level=LEVEL_NUMBERS[level], line=self.line, end_ms=rows[-1][0], day=day, first_ms=rows[0][1],
            count=len(rows), layout=self._layout(level), last_crc=checksum_of(level)(rows[-1]), body=body or column_codec.pack(rows)))

    @cached_property
    def _layouts(self) -> dict[int, list[str]]:
        return {row.id: row.names.split() for row in self.connection.execute(select(layouts))}

    def _layout(self, level: str) -> int:
        names = TABLE_COLUMNS[level]
        known = next((number for number, found in self._layouts.items() if tuple(found) == names), None)
        if known is not None:
            return known
        text = " ".join(names)
        self.connection.execute(insert_of(self.connection, layouts).values(names=text).on_conflict_do_nothing())
        number: int = self.connection.execute(select(layouts.c.id).where(layouts.c.names == text)).scalar_one()
        self._layouts[number] = list(names)
        return number
