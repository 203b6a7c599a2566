"""Rows of whole numbers as one small blob, column by column, and only the wanted columns back.

Each column is kept in the fewest bytes that hold it (1, 2, 4 or 8), as planes of bytes, with a plane of flags where some are missing;
all of it is packed with raw LZMA2. Nothing here notices damage: the block around it carries the checksum.
"""
import lzma
import struct
from collections.abc import Sequence
from itertools import accumulate, pairwise

#: LZMA2 for a day of rows; the dictionary holds all of one (format).
_FILTERS = [{"id": lzma.FILTER_LZMA2, "dict_size": 1 << 18, "lc": 0, "lp": 0, "pb": 0, "mode": lzma.MODE_NORMAL,
             "nice_len": 64, "mf": lzma.MF_BT4, "depth": 48}]
#: Bytes a value -> type code of Python's array (definition).
_CODES = {1: "b", 2: "h", 4: "i", 8: "q"}
#: A row has at most so many columns (choice: twice as many as a minute has today).
_MOST_COLUMNS = 64


def pack(rows: Sequence[Sequence[int | None]]) -> bytes:
    """Rows of one length as a blob. The first column is kept as steps from row to row, the second as its distance from the first."""
    columns: list[Sequence[int | None]] = list(zip(*rows, strict=True))
    first = whole(columns[0])
    columns[0] = [first[0], *(b - a for a, b in pairwise(first))]
    columns[1] = [b - a for a, b in zip(first, whole(columns[1]), strict=True)]
    return lzma.compress(b"".join(map(_pack_column, columns)), format=lzma.FORMAT_RAW, filters=_FILTERS)


def whole(column: Sequence[int | None]) -> list[int]:
    """A column of which no value is missing. Raises ValueError where one is."""
    values = [value for value in column if value is not None]
    if len(values) < len(column):
        raise ValueError("no block of columns: a moment is missing")
    return values


def unpack(body: bytes, count: int, wanted: Sequence[int]) -> list[Sequence[int | None]]:
    """The wanted columns (by place) of a blob of so many rows.

    body: the blob; count: rows in it; wanted: places of the columns.

    Raises
    ------
    ValueError : it is no such blob
    """
    try:
        plain = _decompress(body, count * _MOST_COLUMNS * (max(_CODES) + 1))
        places = _places(plain, count)
        first = list(accumulate(whole(_read(plain, places[0], count))))
        found: list[Sequence[int | None]] = []
        for place in wanted:
            if place == 0:
                found.append(first)
            elif place == 1:
                found.append([a + b for a, b in zip(first, whole(_read(plain, places[1], count)), strict=True)])
            elif place >= len(places):  # a column that came into the log later
                found.append([None] * count)
            else:
                found.append(_read(plain, places[place], count))
        return found
    except (lzma.LZMAError, IndexError, struct.error, TypeError) as error:
        raise ValueError(f"no block of columns: {error}") from error


def _decompress(body: bytes, most: int) -> bytes:
    """The bytes in a blob; a blob of a few bytes that would fill the memory is refused."""
    plain = lzma.LZMADecompressor(lzma.FORMAT_RAW, filters=_FILTERS).decompress(body, most + 1)
    if len(plain) > most:
        raise ValueError(f"it holds more than {most} bytes")
    return plain


def _pack_column(column: Sequence[int | None]) -> bytes:
    known = [value for value in column if value is not None]
    if not known:
        return b"\0"
    low, high = min(known), max(known)
    width = next(w for w in _CODES if -(1 << 8 * w - 1) <= low and high < 1 << 8 * w - 1)
    missing, filled = b"", known
    if len(known) < len(column):
        missing = bytes(value is None for value in column)
        filled, last = [], known[0]
        for value in column:
            last = last if value is None else value
            filled.append(last)
    plain = struct.pack(f"<{len(filled)}{_CODES[width]}", *filled)
    planes = b"".join(plain[byte::width] for byte in reversed(range(width)))
    return bytes([width | (0x80 if missing else 0)]) + missing + planes


def _places(plain: bytes, count: int) -> list[int]:
    places, place = [], 0
    while place < len(plain):
        places.append(place)
        kind = plain[place]
        place += 1 + (kind & 0x7F) * count + (count if kind & 0x80 else 0)
    return places


def _read(plain: bytes, place: int, count: int) -> list[int | None]:
    kind = plain[place]
    width, place = kind & 0x7F, place + 1
    if width == 0:
        return [None] * count
    missing = None
    if kind & 0x80:
        missing = plain[place:place + count]
        place += count
    woven = bytearray(count * width)
    for index, byte in enumerate(reversed(range(width))):
        woven[byte::width] = plain[place + index * count:place + (index + 1) * count]
    values = list(struct.unpack(f"<{count}{_CODES[width]}", woven))
    return values if missing is None else [None if gone else value for value, gone in zip(values, missing, strict=True)]
