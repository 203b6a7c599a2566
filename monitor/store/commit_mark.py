"""How far the log was written, kept outside of it: a log whose latest commits were lost looks whole, but is behind this.

Two places in two blocks of a file, written in turn, so that a torn write costs one of them. Written after each commit, in
place, and brought to the disk with it; where that fails nothing is claimed. A third block says where in the log's file the
tables begin, for whoever has to find rows in it when its own first page is gone.
"""
import json
import os
import struct
import zlib
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

_SLOT = struct.Struct("<8sQqqqB")
_CRC = struct.Struct("<I")
_SIGNATURE = b"amplmark"
#: Two slots in blocks of their own, so that a torn write spoils one: 4 KiB is the sector of today's cards (definition).
BLOCK_BYTES = 4096
_MAP = struct.Struct("<8sII")
_MAP_SIGNATURE = b"amplmap1"


@dataclass(frozen=True, slots=True)
class Mark:
    """The latest commit: its number here, the generation of the state, the last event and minute, and whether the log was closed."""

    number: int
    generation: int
    event_id: int
    minute_ms: int
    closed: bool


def file_of(database: Path) -> Path:
    """Where the mark of a log lies."""
    return database.with_name(database.name + ".commits")


def read(database: Path) -> Mark | None:
    """The latest mark, or None where there is none that can be read."""
    try:
        with open(file_of(database), "rb") as file:
            data = file.read(2 * BLOCK_BYTES)
    except OSError:
        return None
    found = [mark for place in (0, BLOCK_BYTES) if (mark := _parse(data[place:place + _SLOT.size + _CRC.size])) is not None]
    return max(found, key=lambda mark: mark.number, default=None)


@dataclass(frozen=True, slots=True)
class TableMap:
    """Where in the log's file the tables begin: size of a page [bytes], table -> number of its first page."""

    page_bytes: int = 0
    roots: dict[str, int] = field(default_factory=dict)


def read_map(database: Path) -> TableMap:
    """The map of the tables; an empty one where there is none that can be read."""
    try:
        with open(file_of(database), "rb") as file:
            file.seek(2 * BLOCK_BYTES)
            data = file.read(BLOCK_BYTES)
        signature, size, crc = _MAP.unpack_from(data)
        body = data[_MAP.size:_MAP.size + size]
        if signature != _MAP_SIGNATURE or zlib.crc32(body) != crc:
            return TableMap()
        return map_of(json.loads(body))
    except (OSError, struct.error, ValueError):
        return TableMap()


def map_of(plain: Any) -> TableMap:
    """A map out of JSON; an empty one where it is none."""
    try:
        return TableMap(int(plain["page_bytes"]), {str(name): int(page) for name, page in plain["roots"].items()})
    except (TypeError, KeyError, ValueError, AttributeError):
        return TableMap()


class MarkFile:
    """The file, held open by the writer. Never raises: a mark that cannot be written claims nothing."""

    def __init__(self, database: Path) -> None:
        self._database, self._number = database, 0
        self._file: int | None = None
        known = read(database)
        with suppress(OSError):
            self._number = known.number if known else 0
            self._file = os.open(file_of(database), os.O_RDWR | os.O_CREAT, 0o640)
            if os.fstat(self._file).st_size < 2 * BLOCK_BYTES:
                os.posix_fallocate(self._file, 0, 2 * BLOCK_BYTES)
                os.fsync(self._file)

    def put(self, generation: int, event_id: int, minute_ms: int, closed: bool = False) -> None:
        """Keeps where the log is after a commit (fields of Mark).

        generation: of the trackers' state; event_id: of the latest event; minute_ms: end of the latest minute [ms]; closed: the log
        was ended in order.
        """
        if self._file is None:
            return
        self._number += 1
        data = _SLOT.pack(_SIGNATURE, self._number, generation, event_id, minute_ms, closed)
        with suppress(OSError):
            os.pwrite(self._file, data + _CRC.pack(zlib.crc32(data)), self._number % 2 * BLOCK_BYTES)
            os.fdatasync(self._file)

    def put_map(self, tables: TableMap) -> None:
        """Keeps where the tables begin, where that is not known yet."""
        if self._file is None or read_map(self._database) == tables:
            return
        body = json.dumps(asdict(tables), separators=(",", ":")).encode()
        with suppress(OSError):
            os.pwrite(self._file, _MAP.pack(_MAP_SIGNATURE, len(body), zlib.crc32(body)) + body, 2 * BLOCK_BYTES)
            os.fdatasync(self._file)

    def close(self) -> None:
        """Lets go of the file."""
        if self._file is not None:
            os.close(self._file)
            self._file = None


def forget(database: Path) -> None:
    """Takes the mark away: the log at that place is another one now."""
    file_of(database).unlink(missing_ok=True)


def _parse(data: bytes) -> Mark | None:
    if len(data) < _SLOT.size + _CRC.size or _CRC.unpack_from(data, _SLOT.size)[0] != zlib.crc32(data[:_SLOT.size]):
        return None
    signature, number, generation, event_id, minute_ms, closed = _SLOT.unpack_from(data)
    return Mark(number, generation, event_id, minute_ms, bool(closed)) if signature == _SIGNATURE else None
