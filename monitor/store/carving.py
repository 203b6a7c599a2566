"""Rows out of the pages of a damaged SQLite file, where SQLite itself finds no way to them: by the trees that are left, else page by page.

SQLite's own reading ends at the first page that is no page: without its schema (page 1) it finds no row at all, behind a torn
page of a tree's inside none of those below it. Here a table is walked from the page where it begins, which is kept outside
the file (commit_mark.py), and leaves that hang on nothing any more are looked at one by one. What comes out is a claim: whoever
takes a row proves it by its checksum.

File format: https://sqlite.org/fileformat2.html (from memory: headers of b-tree pages, cells, records, overflow chains, the
write-ahead log and its checksum).
"""
import mmap
import struct
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from monitor.store.columns import BLOB_COLUMNS, TABLE_COLUMNS

Row = tuple[Any, ...]
#: Kinds of a page of a table or an index (SQLite's file format, section 1.6).
LEAF, INSIDE, INDEX = 0x0D, 0x05, (0x02, 0x0A)
#: tables whose key is the row's own number, which the record does not repeat
_KEYED = {*TABLE_COLUMNS, *BLOB_COLUMNS} - {"meta", "gaps"}
#: values in a record, the checksum among them
_WIDTH = {table: len(columns) + 1 for table, columns in TABLE_COLUMNS.items()} | {t: len(c) for t, c in BLOB_COLUMNS.items()}
#: values that are floating-point, which SQLite writes as whole numbers where they are whole
_FLOATS = {"forecasts": range(1, 9), "boots": (3, 6, 7)}
#: Longest record that is believed: an hour of raw readings is 30 kB, what trackers hold 200 kB.
_LONGEST = 1 << 24
#: Bytes of a frame's header and of the file's in a write-ahead log (SQLite's file format, section 4.1).
_FRAME, _WAL_HEADER = 24, 32


class _NoCell(ValueError):
    """What is there is no row."""


class Carver:
    """A damaged file (and its -wal) held open for reading.

    roots : table -> number of the page where it begins; empty where that is not known
    page_bytes : size of a page; 0: by the file's header
    """

    def __init__(self, file: Path, roots: dict[str, int], page_bytes: int = 0) -> None:
        self._data = _map_file(file)
        self._size = page_bytes or _page_size(self._data)
        self._wal = _map_file(file.with_name(file.name + "-wal"))
        #: whether the -wal has commits behind a damaged place: then SQLite's answers are of an earlier moment
        self._frames, self.is_ahead = wal_frames(self._wal, self._size)
        self._count = max(len(self._data) // self._size, max(self._frames, default=0))
        self._visited: set[int] = set()
        self._leaves: dict[str, list[int]] = {}
        self._broken: set[str] = set()
        self._torn: dict[str, list[int]] = {}  # table -> leaves that are not whole
        for table in roots:
            self._walk(table, roots[table])
        self._loose: list[bytes] | None = None

    def close(self) -> None:
        """Lets go of the files."""
        for data in (self._data, self._wal):
            if isinstance(data, mmap.mmap):
                data.close()

    def is_broken(self, table: str) -> bool:
        """Whether the tree of a table has a page that is none, or is not known at all."""
        return table in self._broken or table not in self._leaves

    def rows(self, table: str) -> Iterator[Row]:
        """Rows of a table as it stands, the checksum last; proved by nobody yet."""
        for number in self._leaves.get(table, ()):
            yield from self._cells(self._page(number), table)

    def strays(self, table: str) -> Iterator[Row]:
        """Records that fit a table, from its torn leaves and from leaves that hang on no tree: lost ones, and what was deleted
        and not written over yet."""
        if self._loose is None:
            self._loose = [page for n in range(2, self._count + 1)
                           if n not in self._visited and (page := self._page(n))[:1] == bytes([LEAF])
                           and len(page) == self._size and _adds_up(page)]
        for number in self._torn.get(table, ()):
            yield from self._cells(self._page(number), table, anywhere=True)
        for page in self._loose:
            yield from self._cells(page, table)

    def _page(self, number: int) -> bytes:
        at = self._frames.get(number)
        if at is not None:
            return bytes(self._wal[at:at + self._size])
        return bytes(self._data[(number - 1) * self._size:number * self._size])

    def _walk(self, table: str, root: int) -> None:
        leaves, waiting = self._leaves.setdefault(table, []), [root]
        while waiting:
            number = waiting.pop()
            page = self._page(number) if 2 <= number <= self._count and number not in self._visited else b""
            whole = len(page) == self._size and (page[0] == INSIDE or (page[0] == LEAF and _adds_up(page)))
            if not whole:
                self._broken.add(table)
                self._torn.setdefault(table, []).append(number)
                continue
            self._visited.add(number)
            if page[0] == LEAF:
                leaves.append(number)
                continue
            cells, = struct.unpack_from(">H", page, 3)
            places = struct.unpack_from(f">{min(cells, (self._size - 12) // 2)}H", page, 12)
            children = [struct.unpack_from(">I", page, place)[0] for place in places if place <= self._size - 4]
            waiting += [struct.unpack_from(">I", page, 8)[0], *reversed(children)]

    def _cells(self, page: bytes, table: str, anywhere: bool = False) -> Iterator[Row]:
        """The cells of a leaf that fit a table; anywhere: at every place where one may begin, for a leaf that is not whole."""
        for place in range(len(page) - 4) if anywhere else _pointers(page):
            with suppress(_NoCell):
                yield self._cell(page, place, table)

    def _cell(self, page: bytes, place: int, table: str) -> Row:
        size, place = _varint(page, place)
        rowid, place = _varint(page, place)
        if not 2 < size < _LONGEST:
            raise _NoCell
        local = _local(size, self._size)
        if place + local + (4 if local < size else 0) > len(page):
            raise _NoCell
        types = _types(page, place, local, _WIDTH[table])
        body = page[place:place + local]
        if local < size:
            if sum(map(_length, types)) > size:
                raise _NoCell
            body += self._overflow(struct.unpack_from(">I", page, place + local)[0], size - local)
        values = _values(body, types, size)
        for column in _FLOATS.get(table, ()):
            values[column] = float(values[column]) if isinstance(values[column], int) else values[column]
        return (rowid if rowid < 2**63 else rowid - 2**64, *values[1:]) if table in _KEYED else tuple(values)

    def _overflow(self, number: int, size: int) -> bytes:
        found, seen = b"", set[int]()
        while len(found) < size:
            if not 2 <= number <= self._count or number in seen:
                raise _NoCell
            seen.add(number)
            page = self._page(number)
            if len(page) < self._size:
                raise _NoCell
            number, = struct.unpack_from(">I", page)
            found += page[4:]
        return found[:size]


def wal_frames(wal: "bytes | mmap.mmap", page_bytes: int) -> tuple[dict[int, int], bool]:
    """(page -> where its latest committed version lies in a write-ahead log, whether some lie behind a damaged place).

    Each frame is proved by what stands in the one before it, so that a damaged one costs itself and not all that follows,
    as it does where the chain is followed from the front alone. Frames of an earlier round carry another salt and are passed over.
    """
    step = _FRAME + page_bytes
    count = max(len(wal) - _WAL_HEADER, 0) // step
    if not count:
        return {}, False
    salts = Counter(bytes(wal[_WAL_HEADER + i * step + 8:_WAL_HEADER + i * step + 16]) for i in range(count))
    known = bytes(wal[16:24])
    salt = known if known in salts else salts.most_common(1)[0][0]
    order = ">" if wal[3] & 1 else "<"
    sums = struct.unpack_from(">II", wal, 24)
    found: dict[int, int] = {}
    waiting: dict[int, int] = {}
    torn, behind = salt != known or wal_sum(bytes(wal[:24]), (0, 0), order) != sums, False
    for i in range(count):
        at = _WAL_HEADER + i * step
        number, committed = struct.unpack_from(">II", wal, at)
        stated = struct.unpack_from(">II", wal, at + 16)
        mine = wal[at + 8:at + 16] == salt
        if mine and wal_sum(wal[at:at + 8] + wal[at + _FRAME:at + step], sums, order) == stated:
            waiting[number] = at + _FRAME
            if committed:
                found |= waiting
                waiting, behind = {}, behind or torn
        else:
            torn = True
        sums = stated
    return found, behind


def has_lost_frames(wal_file: Path, page_bytes: int) -> bool:
    """Whether a write-ahead log has commits behind a damaged place, which SQLite passes over in silence."""
    wal = _map_file(wal_file)
    try:
        return wal_frames(wal, page_bytes or _page_size(wal_page(wal)))[1]
    finally:
        if isinstance(wal, mmap.mmap):
            wal.close()


def wal_page(wal: "bytes | mmap.mmap") -> bytes:
    """What a file's first bytes would say of the size of a page, by its write-ahead log."""
    size = struct.unpack_from(">I", wal, 8)[0] if len(wal) >= _WAL_HEADER else 0
    return bytes(16) + struct.pack(">H", size if size < 65536 else 0)


def wal_sum(data: bytes, sums: tuple[int, int], order: str) -> tuple[int, int]:
    """The write-ahead log's checksum over more bytes.

    data: a multiple of 8 of them; sums: the checksum so far; order: of the bytes in a word, "<" or ">".
    """
    a, b = sums
    words = struct.unpack(f"{order}{len(data) // 4}I", data)
    for x, y in zip(words[::2], words[1::2], strict=True):
        a = (a + x + b) & 0xFFFFFFFF
        b = (b + y + a) & 0xFFFFFFFF
    return a, b


def _map_file(file: Path) -> "bytes | mmap.mmap":
    try:
        with open(file, "rb") as opened:
            return mmap.mmap(opened.fileno(), 0, access=mmap.ACCESS_READ)
    except (OSError, ValueError):  # not there, or empty
        return b""


def _page_size(data: "bytes | mmap.mmap") -> int:
    stated = struct.unpack_from(">H", data, 16)[0] if len(data) >= 18 else 0
    return stated if stated in (512, 1024, 2048, 4096, 8192, 16384, 32768) else 1024


def _pointers(page: bytes) -> tuple[int, ...]:
    count, = struct.unpack_from(">H", page, 3)
    return struct.unpack_from(f">{count}H", page, 8)


def _adds_up(page: bytes) -> bool:
    """Whether the cells, the free room and the header of a leaf are all of it."""
    free: int
    free, count, begins, scraps = struct.unpack_from(">HHHB", page, 1)
    begins = begins or 65536
    if 8 + 2 * count > begins or begins > len(page):
        return False
    covered: int = begins + scraps
    try:
        for place in _pointers(page):
            if place < begins:
                return False
            size, after = _varint(page, place)
            _, after = _varint(page, after)
            local = _local(size, len(page))
            covered += max(after + local + (4 if local < size else 0) - place, 4)
        for _ in range(len(page)):
            if not free:
                break
            free, size = struct.unpack_from(">HH", page, free)
            covered += size
    except (_NoCell, struct.error):
        return False
    return covered == len(page)


def _varint(page: bytes, place: int) -> tuple[int, int]:
    value = 0
    for i in range(9):
        if place + i >= len(page):
            raise _NoCell
        byte = page[place + i]
        if i == 8:
            return (value << 8) | byte, place + 9
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            return value, place + i + 1
    raise _NoCell


def _local(size: int, usable: int) -> int:
    """How much of a payload lies in its leaf."""
    if size <= usable - 35:
        return size
    least = (usable - 12) * 32 // 255 - 23
    kept = least + (size - least) % (usable - 4)
    return kept if kept <= usable - 35 else least


def _types(page: bytes, place: int, local: int, width: int) -> list[int]:
    """Kinds of the values of a record of so many, from its header."""
    end, at = _varint(page, place)
    end += place
    if not at + width <= end <= min(place + local, at + 9 * width):
        raise _NoCell
    types: list[int] = []
    while at < end:
        kind, at = _varint(page, at)
        types.append(kind)
        if kind in (10, 11) or len(types) > width:
            raise _NoCell
    if at != end or len(types) != width:
        raise _NoCell
    return types


def _length(kind: int) -> int:
    return (0, 1, 2, 3, 4, 6, 8, 8, 0, 0)[kind] if kind < 10 else (kind - 12) // 2


def _values(body: bytes, types: list[int], size: int) -> list[Any]:
    place = _varint(body, 0)[0]
    if place + sum(map(_length, types)) != size or len(body) < size:
        raise _NoCell
    values: list[Any] = []
    for kind in types:
        end = place + _length(kind)
        piece = body[place:end]
        place = end
        if kind == 0:
            values.append(None)
        elif kind == 7:
            values.append(struct.unpack(">d", piece)[0])
        elif kind in (8, 9):
            values.append(kind - 8)
        elif kind < 7:
            values.append(int.from_bytes(piece, "big", signed=True))
        elif kind % 2 == 0:
            values.append(piece)
        else:
            try:
                values.append(piece.decode())
            except UnicodeDecodeError as error:
                raise _NoCell from error
    return values
