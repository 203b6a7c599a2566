"""An hour of raw rows as one small checked blob, and back.

Each column is laid out as planes of bytes (all highest bytes, then the next ...) with a plane of flags for
missing values, and packed with raw LZMA2. SQLite's own check does not notice a flipped bit in data; the
CRC-32 (ISO 3309) over the blob and its place does.
"""
import lzma
import struct
import zlib
from array import array
from collections.abc import Sequence
from itertools import pairwise

from monitor.store.columns import RAW_COLUMNS

#: a row of the table samples: its moment, then the values
Row = tuple[int, *tuple[int | None, ...]]
#: LZMA2 for an hour of rows (choice: its dictionary is larger than an hour, so a larger one gains nothing).
_FILTERS = [{"id": lzma.FILTER_LZMA2, "dict_size": 65536, "lc": 0, "lp": 0, "pb": 0, "mode": lzma.MODE_NORMAL,
             "nice_len": 64, "mf": lzma.MF_BT4, "depth": 48}]
#: Bytes of a value in a column (format).
_WIDTH = 4


class Damaged(ValueError):
    """A chunk whose checksum does not fit: not one value of it is believed."""


def pack(rows: Sequence[Row]) -> tuple[int, int, int, int, bytes]:
    """(at_ms, end_ms, count, crc, body) of consecutive rows of the table samples.

    Times are kept as steps, values as they are; whatever fits 32 bits comes back exactly.

    Raises
    ------
    OverflowError : a value beyond 32 bits
    """
    at_ms, end_ms, count = rows[0][0], rows[-1][0], len(rows)
    times, *columns = zip(*rows, strict=True)
    steps = [0, *(b - a for a, b in pairwise(times))]
    parts = [_planes(steps)]
    for column in columns:
        parts.append(_column(column))
    body = lzma.compress(b"".join(parts), format=lzma.FORMAT_RAW, filters=_FILTERS)
    return at_ms, end_ms, count, _crc(at_ms, end_ms, count, body), body


def unpack(at_ms: int, end_ms: int, count: int, crc: int, body: bytes) -> list[Row]:
    """The rows that `pack` was given.

    at_ms, end_ms: moments of the first and the last row [ms]; count: of rows; crc: checksum over all of these and the body; body:
    the packed columns.

    Raises
    ------
    Damaged : the checksum does not fit, or what it covers is no hour
    """
    try:
        fits = crc == _crc(at_ms, end_ms, count, body)
    except (struct.error, TypeError) as error:  # something else where numbers were
        raise Damaged(f"an hour is damaged: {error}") from error
    if not fits:
        raise Damaged(f"the hour from {at_ms / 1000:.0f} s is damaged: its checksum does not fit")
    try:
        plain = lzma.decompress(body, format=lzma.FORMAT_RAW, filters=_FILTERS)
    except lzma.LZMAError as error:
        raise Damaged(f"the hour from {at_ms / 1000:.0f} s cannot be unpacked: {error}") from error
    try:
        return _rows(plain, at_ms, count)
    except (ValueError, IndexError) as error:
        raise Damaged(f"the hour from {at_ms / 1000:.0f} s is shorter than it says: {error}") from error


def _rows(plain: bytes, at_ms: int, count: int) -> list[Row]:
    if not 0 <= count <= len(plain):
        raise ValueError(f"{count} rows in {len(plain)} bytes")
    times, now = [], at_ms
    for step in _values(plain, 0, count):
        now += step
        times.append(now)
    place = count * _WIDTH
    columns: list[Sequence[int | None]] = []
    for _ in RAW_COLUMNS:
        kind = plain[place]
        place += 1
        if kind == 0:
            columns.append([None] * count)
            continue
        missing = None
        if kind == 2:
            missing = plain[place:place + count]
            place += count
        values = _values(plain, place, count)
        place += count * _WIDTH
        columns.append(values if missing is None else [None if gone else v for v, gone in zip(values, missing, strict=True)])
    return list(zip(times, *columns, strict=True))


def _column(column: Sequence[int | None]) -> bytes:
    """Kind (0 nothing, 1 all there, 2 some missing), flags of the missing, planes of the values."""
    known = [v for v in column if v is not None]
    if not known:
        return b"\0"
    if len(known) == len(column):
        return b"\1" + _planes(known)
    filled, last = [], 0
    for value in column:
        last = last if value is None else value
        filled.append(last)
    return b"\2" + bytes(v is None for v in column) + _planes(filled)


def _planes(values: Sequence[int]) -> bytes:
    plain = struct.pack(f"<{len(values)}i", *values) if _fits(values) else None
    if plain is None:
        raise OverflowError("a value does not fit 32 bits")
    return b"".join(plain[byte::_WIDTH] for byte in reversed(range(_WIDTH)))


def _fits(values: Sequence[int]) -> bool:
    return min(values) >= -(2**31) and max(values) < 2**31


def _values(plain: bytes, place: int, count: int) -> "array[int]":
    woven = bytearray(count * _WIDTH)
    for index, byte in enumerate(reversed(range(_WIDTH))):
        woven[byte::_WIDTH] = plain[place + index * count:place + (index + 1) * count]
    values = array("i")
    values.frombytes(bytes(woven))
    return values


def _crc(at_ms: int, end_ms: int, count: int, body: bytes) -> int:
    return zlib.crc32(body, zlib.crc32(struct.pack("<qqq", at_ms, end_ms, count)))
