"""A sealed file of one day of the log: blocks, each under checksums of its own, and a table of contents at its end.

    SIGNATURE, then blocks (a header, its CRC-32, a body, whose CRC-32 is in the header), then the contents (a copy of all headers with
    their places, and a CRC-32), then the place of the contents and TRAILER.

A damaged body costs its block and the contents say what was in it; damaged contents are found again from the headers; a damaged
header is passed over to the next one. A file has its name only when it is whole and on the disk.
"""
import os
import struct
import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from monitor.store.all_or_nothing import make_folder, new_file, sync_folder

SIGNATURE = b"ampledger sealed 1\n"
TRAILER = b"sealed.\n"
MARK = b"\xb1block\r\n"
#: mark, table, kind, first moment [ms], last moment [ms], rows, bytes of the body, CRC-32 of the body
_HEADER = struct.Struct("<8s12sBqqIII")
_CRC = struct.Struct("<I")
_END = struct.Struct("<QI8s")
#: kinds of bodies: an hour from chunks.py, columns from column_codec.py, lines of JSON under zlib, and rows known to be lost
CHUNK, COLUMNS, LINES, MISSING = 1, 2, 3, 9


class SegmentDamaged(ValueError):
    """Something in a sealed file that is not as it was written; the words name file and span."""


@dataclass(frozen=True, slots=True)
class Block:
    """What a block holds: rows of one table between two moments of the line of time; where its body lies in the file."""

    table: str
    kind: int
    first_ms: int
    end_ms: int
    count: int
    size: int
    crc: int
    place: int = 0


def write(path: Path, blocks: Iterable[tuple[Block, bytes]]) -> int:
    """Writes a sealed file: under another name, to the disk, then in its place by one rename. Returns its size in bytes.

    Raises
    ------
    OSError : nothing has that name that had not before
    """
    make_folder(path.parent)
    with new_file(path) as file:
        file.write(SIGNATURE)
        contents = []
        for block, body in blocks:
            header = _header(block, body)
            file.write(header + _CRC.pack(zlib.crc32(header)))
            contents.append(header + struct.pack("<Q", file.tell()))
            file.write(body)
        place = file.tell()
        listed = b"".join(contents)
        file.write(listed)
        file.write(_END.pack(place, zlib.crc32(listed), TRAILER))
        size = file.tell()
    sync_folder(path.parent)
    return size


class Segment:
    """An open sealed file. blocks is its table of contents; mended says that it had to be found again from the headers."""

    def __init__(self, file: BinaryIO, name: str) -> None:
        self._file, self.name = file, name
        self.blocks, self.mended = _contents(file)

    def body(self, block: Block) -> bytes:
        """The body of a block.

        Raises
        ------
        SegmentDamaged : its checksum does not fit
        """
        self._file.seek(block.place)
        body = self._file.read(block.size)
        if len(body) != block.size or zlib.crc32(body) != block.crc:
            raise SegmentDamaged(f"{self.name}: {block.count} rows of {block.table} are damaged")
        return body

    def lost_spans(self, tables: Sequence[str], start_ms: int, end_ms: int) -> list[tuple[str, int, int, int]]:
        """(table, first moment, last moment, 0) of what headers that are gone may have been of, where the contents were found again.

        tables : of this kind of file, in the order of its blocks
        start_ms, end_ms : of its day [ms]
        """
        if not self.mended:
            return []
        found: list[tuple[str, int, int, int]] = []
        place, last = len(SIGNATURE), Block(tables[0], 0, start_ms, start_ms, 0, 0, 0)
        for block in self.blocks:
            if block.place != place + _HEADER.size + _CRC.size and block.table in tables and last.table in tables:
                between = tables[tables.index(last.table):tables.index(block.table) + 1]
                found += [(table, last.end_ms if table == last.table else start_ms, block.first_ms if table == block.table else end_ms, 0)
                          for table in between]
            place, last = block.place + block.size, block
        listed = len(self.blocks) * (_HEADER.size + 8) + _END.size
        # behind the last block there are the contents and nothing else: less was cut off, more are blocks that are gone whole
        if (not self.blocks or self._file.seek(0, os.SEEK_END) - place != listed) and last.table in tables:
            found += [(table, last.end_ms if table == last.table else start_ms, end_ms, 0) for table in tables[tables.index(last.table):]]
        return found

    def is_whole(self) -> bool:
        """Whether every byte of the file is as it was written: header by header, and the contents."""
        if self.mended:
            return False
        place = len(SIGNATURE)
        self._file.seek(0)
        if self._file.read(place) != SIGNATURE:
            return False
        for block in self.blocks:
            self._file.seek(place)
            found = _parse_header(self._file.read(_HEADER.size + _CRC.size))
            if found is None or (found.table, found.kind, found.first_ms, found.end_ms, found.count, found.size, found.crc) != (
                    block.table, block.kind, block.first_ms, block.end_ms, block.count, block.size, block.crc):
                return False
            place = block.place + block.size
        return True


def _header(block: Block, body: bytes) -> bytes:
    return _HEADER.pack(MARK, block.table.encode(), block.kind, block.first_ms, block.end_ms, block.count, len(body), zlib.crc32(body))


def _parse_header(data: bytes) -> Block | None:
    if len(data) < _HEADER.size + _CRC.size or _CRC.unpack_from(data, _HEADER.size)[0] != zlib.crc32(data[:_HEADER.size]):
        return None
    return _block(data, 0)


def _block(header: bytes, place: int) -> Block:
    _, table, kind, first_ms, end_ms, count, size, crc = _HEADER.unpack_from(header)
    return Block(table.rstrip(b"\0").decode("ascii", "replace"), kind, first_ms, end_ms, count, size, crc, place)


def _contents(file: BinaryIO) -> tuple[tuple[Block, ...], bool]:
    size = file.seek(0, os.SEEK_END)
    if size >= len(SIGNATURE) + _END.size:
        file.seek(size - _END.size)
        place, crc, trailer = _END.unpack(file.read(_END.size))
        if trailer == TRAILER and place <= size - _END.size:
            file.seek(place)
            listed = file.read(size - _END.size - place)
            step = _HEADER.size + 8
            if zlib.crc32(listed) == crc and len(listed) % step == 0:
                return tuple(_block(listed[i:i + _HEADER.size], struct.unpack_from("<Q", listed, i + _HEADER.size)[0])
                             for i in range(0, len(listed), step)), False
    return tuple(_scan_blocks(file)), True


def _scan_blocks(file: BinaryIO) -> Iterator[Block]:
    """Blocks whose headers are whole, in a file without a table of contents."""
    file.seek(0)
    data = file.read()
    place = data.find(MARK)
    while place >= 0:
        block = _parse_header(data[place:place + _HEADER.size + _CRC.size])
        if block is None:
            place = data.find(MARK, place + 1)
            continue
        body = place + _HEADER.size + _CRC.size
        yield Block(block.table, block.kind, block.first_ms, block.end_ms, block.count, block.size, block.crc, body)
        place = data.find(MARK, body + block.size)
