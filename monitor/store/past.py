"""The sealed days of a log: where their files lie, and their rows, each block proved by its checksum before a row of it is given."""
import io
import json
import os
import sqlite3
import zlib
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO, Protocol

from monitor.store import chunks, column_codec, segment
from monitor.store.all_or_nothing import make_folder, new_file, sync_folder
from monitor.store.columns import LEVELS, TABLE_COLUMNS
from monitor.store.segment import Block, Segment, SegmentDamaged

DAY_MS = 86_400_000
#: kind of file -> the tables in it. Files of one kind can be dropped without touching the others; `books` is written last, and so
#: a day is sealed when its books are there.
KINDS: dict[str, tuple[str, ...]] = {
    "raw": ("chunks", "cranks"),
    "minutes": ("minutes",),
    "books": ("quarters", "hours", "days", "forecasts", "events", "gaps", "boots", "alerts", "meta"),
}
KIND_OF = {table: kind for kind, tables in KINDS.items() for table in tables}

#: told (table, first moment [ms], last moment [ms], rows) of what cannot be read
Damaged = Callable[[str, int, int, int], None]


class Files(Protocol):
    """Where sealed files come from: a folder beside the log, or a table in a copy of it."""

    def numbers(self, kind: str) -> list[int]:
        """The days of which there is such a file, in order."""

    def open(self, kind: str, number: int) -> BinaryIO:
        """One of them. Raises OSError."""


class FolderFiles:
    """Sealed files in the folder beside the log."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def numbers(self, kind: str) -> list[int]:
        try:
            names = os.listdir(self.folder / kind)
        except OSError:
            return []
        return sorted(int(name[:6]) for name in names if len(name) == 10 and name.endswith(".day") and name[:6].isdigit())

    def open(self, kind: str, number: int) -> BinaryIO:
        return open(path_of(self.folder, kind, number), "rb")


class CopyFiles:
    """Sealed files inside a copy of the log, which is one file."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def numbers(self, kind: str) -> list[int]:
        return [row[0] for row in self._connection.execute("select number from sealed_files where kind = ? order by number", (kind,))]

    def open(self, kind: str, number: int) -> BinaryIO:
        row = self._connection.execute("select body from sealed_files where kind = ? and number = ?", (kind, number)).fetchone()
        if row is None:
            raise FileNotFoundError(f"{kind} of day {number}")
        return io.BytesIO(row[0])


def folder_of(database: Path) -> Path:
    """Where the sealed days of a log lie."""
    return database.with_name(database.stem + ".past")


def path_of(folder: Path, kind: str, number: int) -> Path:
    """The file of one kind of one day.

    folder: of sealed days; kind: which file of the day; number: of the day.
    """
    return folder / kind / f"{number:06d}.day"


def number_of(end_ms: int) -> int:
    """The day that a row belongs to: a day has the moments after its start up to and including its end."""
    return (end_ms - 1) // DAY_MS


def of_log(database: Path, connection: sqlite3.Connection) -> "Past":
    """The sealed days of a log that is open for reading."""
    inside = connection.execute("select 1 from sqlite_master where name = 'sealed_files'").fetchone()
    return Past(CopyFiles(connection) if inside else FolderFiles(folder_of(database)))


class Past:
    """Questions to the sealed days. Damage is told to `damaged` where one is given, and left out either way."""

    def __init__(self, files: Files) -> None:
        self.files = files
        books = files.numbers("books")
        #: up to this moment the sealed days are the log; what the present still has of it is the same
        self.until_ms = (books[-1] + 1) * DAY_MS if books else -(2**62)

    def rows(self, table: str, after_ms: int, until_ms: int, wanted: Sequence[str] | None = None,
             damaged: Damaged | None = None) -> Iterator[tuple[int | None, ...]]:
        """Rows of minutes, quarters, hours or days with after_ms < end_ms <= until_ms, in order.

        Parameters
        ----------
        table : one of the levels of the log
        after_ms, until_ms : span on the line of time [ms]
        wanted : names of the columns to give, default all in the table's order
        damaged : is told of blocks that cannot be read
        """
        assert table in LEVELS
        until_ms = min(until_ms, self.until_ms)
        names = TABLE_COLUMNS[table]
        places = [0, *(range(len(names)) if wanted is None else map(names.index, wanted))]
        for block, body in self._blocks(table, after_ms, until_ms, damaged):
            try:
                moments, *columns = column_codec.unpack(body, block.count, places)
                ends = column_codec.whole(moments)
            except ValueError:
                _tell(damaged, block)
                continue
            first, last = bisect_right(ends, after_ms), bisect_right(ends, until_ms)
            yield from zip(*(column[first:last] for column in columns), strict=True)

    def first_row(self, table: str, number: int) -> tuple[int | None, ...] | None:
        """(end_ms, start_ms) of the first row of minutes or quarters that can be read. table: its name; number: of the first sealed day."""
        if isinstance(self.files, FolderFiles):
            try:
                state = path_of(self.files.folder, KIND_OF[table], number).stat()
                return _first_row(self.files.folder, table, number, (state.st_ino, state.st_size, state.st_mtime_ns))
            except OSError:
                pass  # gone this moment: thinned
        return next(self.rows(table, number * DAY_MS, 2**62, ("end_ms", "start_ms")), None)

    def hours(self, after_ms: int, until_ms: int, damaged: Damaged | None = None) -> Iterator[list[chunks.Row]]:
        """Raw rows with after_ms < at_ms <= until_ms, an hour at a time.

        after_ms, until_ms: of the log's time [ms]; damaged: is told of what is left out, None: it raises.
        """
        until_ms = min(until_ms, self.until_ms)
        for block, body in self._blocks("chunks", after_ms, until_ms, damaged):
            try:
                rows = chunks.unpack(*chunk_of(block, body))
            except chunks.Damaged:
                _tell(damaged, block)
                continue
            yield rows[bisect_left(rows, (after_ms + 1,)):bisect_left(rows, (until_ms + 1,))]

    def lines(self, table: str, after_ms: int = -(2**62), damaged: Damaged | None = None) -> Iterator[tuple[Any, ...]]:
        """Rows of a table that is kept as lines of text, as far as the sealed days have them, day by day.

        table: its name; after_ms: only later ones [ms]; damaged: is told of what is left out, None: it raises.
        """
        for _, body in self._blocks(table, after_ms, 2**62, damaged):
            yield from lines_of(body)

    def count(self, table: str) -> int:
        """Rows of minutes or quarters, packed hours of chunks, that the sealed days hold, by their contents."""
        found = 0
        for number in self.files.numbers(KIND_OF[table]):
            with suppress(OSError), self.files.open(KIND_OF[table], number) as file:
                found += sum(1 if table == "chunks" else block.count for block in Segment(file, table).blocks
                             if block.table == table and block.kind != segment.MISSING)
        return found

    def damage(self, kind: str, number: int) -> list[tuple[str, int, int, int]]:
        """What of a file cannot be read, as `damaged` is told it; reads all of it. Empty: it is whole.

        One span of no length, of no table: every row is there, and something of what tells where they are is damaged.
        """
        found: list[tuple[str, int, int, int]] = []
        start, end = number * DAY_MS, (number + 1) * DAY_MS
        try:
            with self.files.open(kind, number) as file:
                opened = Segment(file, f"{kind} {number}")
                for block in opened.blocks:
                    if block.kind == segment.MISSING:
                        continue  # known since it was mended
                    try:
                        opened.body(block)
                    except SegmentDamaged:
                        found.append((block.table, block.first_ms, block.end_ms, block.count))
                found += opened.lost_spans(KINDS[kind], start, end)
                if not found and not opened.is_whole():
                    found.append(("", start, start, 0))
        except OSError:
            found.append(("", start, end, 0))
        return found

    def _blocks(self, table: str, after_ms: int, until_ms: int, damaged: Damaged | None) -> Iterator[tuple[Block, bytes]]:
        until_ms = min(until_ms, self.until_ms)
        kind = KIND_OF[table]
        numbers = self.files.numbers(kind)
        first, last = max(after_ms, -DAY_MS) // DAY_MS, number_of(min(until_ms, 2**52))
        for number in numbers[bisect_left(numbers, first):bisect_right(numbers, last)]:
            try:
                with self.files.open(kind, number) as file:
                    opened = Segment(file, f"{kind} {number}")
                    for block in opened.blocks:
                        if block.table != table or block.end_ms <= after_ms or block.first_ms > until_ms:
                            continue
                        if block.kind == segment.MISSING:
                            _tell(damaged, block)
                            continue
                        try:
                            body = opened.body(block)
                        except SegmentDamaged:
                            _tell(damaged, block)
                            continue
                        yield block, body
            except OSError:
                if damaged is not None:
                    damaged(table, number * DAY_MS, (number + 1) * DAY_MS, 0)


@lru_cache(maxsize=8)
def _first_row(folder: Path, table: str, number: int, _stamp: tuple[int, int, int]) -> tuple[int | None, ...] | None:
    """Of a folder of sealed days, which do not change: asked for with every picture, and costly to unpack."""
    return next(Past(FolderFiles(folder)).rows(table, number * DAY_MS, 2**62, ("end_ms", "start_ms")), None)


def chunk_of(block: Block, body: bytes) -> tuple[int, int, int, int, bytes]:
    """A row of the table chunks out of its block: the chunk's own checksum stands before its body."""
    return block.first_ms, block.end_ms, block.count, int.from_bytes(body[:4], "little"), body[4:]


def read_blocks(file: BinaryIO, name: str) -> list[tuple[Block, bytes]]:
    """Every block of a sealed file with its body; one that cannot be read becomes a known loss.

    file: open for reading; name: what to call it where it is damaged.
    """
    opened, found = Segment(file, name), []
    for block in opened.blocks:
        try:
            found.append((block, b"" if block.kind == segment.MISSING else opened.body(block)))
        except SegmentDamaged:
            found.append((Block(block.table, segment.MISSING, block.first_ms, block.end_ms, block.count, 0, 0), b""))
    return found


def rows_of(block: Block, body: bytes) -> list[tuple[Any, ...]]:
    """The rows of a block of columns or lines, whole. Raises ValueError where it is none."""
    if block.kind == segment.LINES:
        return lines_of(body)
    return list(zip(*column_codec.unpack(body, block.count, range(len(TABLE_COLUMNS[block.table]))), strict=True))


def lines_of(body: bytes) -> list[tuple[Any, ...]]:
    """Rows out of lines of JSON; raises ValueError where it is none."""
    try:
        return [tuple(json.loads(line)) for line in zlib.decompress(body).decode().splitlines()]
    except zlib.error as error:
        raise ValueError(str(error)) from error


def _tell(damaged: Damaged | None, block: Block) -> None:
    if damaged is not None:
        damaged(block.table, block.first_ms, block.end_ms, block.count)


def fold(sealed: Past, copy: sqlite3.Connection) -> None:
    """Puts every sealed file into a copy of the log, which is one file; as they are, damaged or not."""
    copy.execute("create table if not exists sealed_files (kind text not null, number integer not null, body blob not null, "
                 "primary key (kind, number))")
    for kind in KINDS:
        for number in sealed.files.numbers(kind):
            with sealed.files.open(kind, number) as file:
                copy.execute("insert or replace into sealed_files values (?, ?, ?)", (kind, number, file.read()))
            copy.commit()


def unfold(connection: sqlite3.Connection, folder: Path) -> None:
    """Takes the sealed files out of a copy into a folder, then out of the copy. Killed at any moment it can be done again."""
    if not connection.execute("select 1 from sqlite_master where name = 'sealed_files'").fetchone():
        return
    for kind in (*reversed([kind for kind in KINDS if kind != "books"]), "books"):  # a day is sealed when its books are there
        for (number,) in connection.execute("select number from sealed_files where kind = ?", (kind,)).fetchall():
            (body,) = connection.execute("select body from sealed_files where kind = ? and number = ?", (kind, number)).fetchone()
            path = path_of(folder, kind, number)
            make_folder(path.parent)
            with new_file(path) as file:
                file.write(body)
        if (folder / kind).exists():
            sync_folder(folder / kind)
    connection.execute("drop table sealed_files")
    connection.commit()
    connection.execute("vacuum")
