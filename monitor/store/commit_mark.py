"""How far the log was written, kept outside of it: a log whose latest commits were lost looks whole, but is behind this.

Two places in a file of two blocks, written in turn, so that a torn write costs one of them. Written after each commit, in
place, and brought to the disk with it; where that fails nothing is claimed.
"""
import os
import struct
import zlib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

_SLOT = struct.Struct("<8sQqqqB")
_CRC = struct.Struct("<I")
_SIGNATURE = b"amplmark"
BLOCK_BYTES = 4096


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
    found = [mark for place in (0, BLOCK_BYTES) if (mark := _parsed(data[place:place + _SLOT.size + _CRC.size])) is not None]
    return max(found, key=lambda mark: mark.number, default=None)


class MarkFile:
    """The file, held open by the writer. Never raises: a mark that cannot be written claims nothing."""

    def __init__(self, database: Path) -> None:
        self._number = 0
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

    def close(self) -> None:
        """Lets go of the file."""
        if self._file is not None:
            os.close(self._file)
            self._file = None


def forget(database: Path) -> None:
    """Takes the mark away: the log at that place is another one now."""
    file_of(database).unlink(missing_ok=True)


def _parsed(data: bytes) -> Mark | None:
    if len(data) < _SLOT.size + _CRC.size or _CRC.unpack_from(data, _SLOT.size)[0] != zlib.crc32(data[:_SLOT.size]):
        return None
    signature, number, generation, event_id, minute_ms, closed = _SLOT.unpack_from(data)
    return Mark(number, generation, event_id, minute_ms, bool(closed)) if signature == _SIGNATURE else None
