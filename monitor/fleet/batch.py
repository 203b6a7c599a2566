"""What travels from a board to the collector: some rows of its log in one piece, numbered, under one digest. Pure.

A line of JSON says what it is and what follows; behind it come the parts, each packed as the log packs its own days: columns of whole
numbers (monitor/store/column_codec.py), or lines of JSON through zlib (RFC 1950). The digest is SHA-256 (FIPS 180-4) over all of it.
"""
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Literal

from monitor.store import column_codec
from monitor.store.columns import TABLE_COLUMNS

#: The shape of a batch; a collector reads this one and those before it.
FORMAT = 1
MAGIC = b"ampledger batch\n"
#: A batch is at most so long, and its parts have so many rows (choice: a few days; what is cut off in the middle is sent again).
MOST_BYTES, MOST_ROWS = 512 * 1024, 4 * 1440
#: Lines of one part are at most so long when unpacked [bytes] (choice: findings are 30 kB, a day of forecasts 10).
MOST_PLAIN = 4 * 1024 * 1024

#: Tables that are sent as columns, and as lines; `findings` is the text of the latest findings with its moment.
COLUMN_TABLES = ("minutes", "quarters", "hours")
LINE_TABLES = ("days", "boots", "meta", "alerts", "gaps", "forecasts", "events", "findings")

Kind = Literal["columns", "lines"]


class BadBatch(ValueError):
    """It is no batch, or a damaged one; one sentence."""


@dataclass(frozen=True, slots=True)
class Part:
    """Rows of one table. first_ms and end_ms: moments of the first and last row on the log's line of time, 0 for lines."""

    table: str
    kind: Kind
    columns: tuple[str, ...]
    count: int
    first_ms: int
    end_ms: int
    body: bytes


@dataclass(frozen=True, slots=True)
class FleetBatch:
    """number counts from 1 for each vehicle. cursors says, in the board's own words, how far its log was read for it.

    back_to_ms: where the log now differs from what was published before, None: it goes on; begin_line: it is another log, from its
    beginning.
    """

    board: str
    number: int
    made_utc_s: float
    version: str
    parts: tuple[Part, ...]
    cursors: dict[str, Any]
    back_to_ms: int | None = None
    begin_line: bool = False


def columns_part(table: str, rows: Sequence[Sequence[int | None]]) -> Part:
    """Rows of a level, in order, as a part."""
    return Part(table, "columns", TABLE_COLUMNS[table], len(rows), int(rows[0][1] or 0), int(rows[-1][0] or 0), column_codec.pack(rows))


def lines_part(table: str, rows: Sequence[Sequence[Any]], columns: tuple[str, ...] = ()) -> Part:
    """Rows of any other table as a part.

    table: one of LINE_TABLES; rows: as the log has them; columns: their names, where they are not the log's.
    """
    plain = "\n".join(json.dumps(list(row), separators=(",", ":")) for row in rows).encode()
    return Part(table, "lines", columns or TABLE_COLUMNS[table], len(rows), 0, 0, zlib.compress(plain, 9))


def encode(batch: FleetBatch) -> bytes:
    """The batch as it travels."""
    head = {"format": FORMAT, "board": batch.board, "number": batch.number, "made_utc_s": batch.made_utc_s, "version": batch.version,
            "cursors": batch.cursors, "back_to_ms": batch.back_to_ms, "begin_line": batch.begin_line,
            "parts": [[p.table, p.kind, list(p.columns), p.count, p.first_ms, p.end_ms, len(p.body)] for p in batch.parts]}
    line = json.dumps(head, separators=(",", ":")).encode()
    return b"".join((MAGIC, line, b"\n", *(p.body for p in batch.parts)))


def digest_of(data: bytes) -> str:
    """What tells one batch from another."""
    return sha256(data).hexdigest()


def decode(data: bytes) -> FleetBatch:
    """The batch that `encode` made; its parts' bodies are not opened yet.

    Raises
    ------
    BadBatch : it is none, or of a later shape
    """
    if len(data) > MOST_BYTES:
        raise BadBatch(f"it is {len(data)} bytes long; at most {MOST_BYTES} are taken at once")
    if not data.startswith(MAGIC):
        raise BadBatch("it does not begin as a batch of ampledger does")
    line, _, rest = data[len(MAGIC):].partition(b"\n")
    try:
        head = json.loads(line)
        if not isinstance(head, dict):
            raise BadBatch("its first line is no table")
        if not isinstance(head.get("format"), int) or head["format"] > FORMAT:
            raise BadBatch(f"it has shape {head.get('format')!r:.20}, this collector reads shapes up to {FORMAT}; "
                           "install the newer ampledger on the collector")
        parts, place = [], 0
        for table, kind, columns, count, first_ms, end_ms, length in head["parts"]:
            parts.append(_part(table, kind, columns, count, first_ms, end_ms, rest[place:place + length], length))
            place += length
        if place != len(rest):
            raise BadBatch(f"its parts have {place} bytes, {len(rest)} came")
        return FleetBatch(_text(head["board"]), _whole(head["number"], 1), float(head["made_utc_s"]), _text(head["version"]), tuple(parts),
                          _table(head["cursors"]), None if head["back_to_ms"] is None else _whole(head["back_to_ms"], -(2**62)),
                          bool(head["begin_line"]))
    except (KeyError, TypeError, ValueError, RecursionError) as error:
        if isinstance(error, BadBatch):
            raise
        raise BadBatch(f"its first line cannot be read: {type(error).__name__} {error}") from error


def rows_of(part: Part) -> list[tuple[Any, ...]]:
    """The rows in a part, each with the columns that this program has for its table: others are left out, new ones are None.

    Raises
    ------
    BadBatch : they are not what the part says
    """
    known = TABLE_COLUMNS.get(part.table, part.columns)
    try:
        if part.kind == "columns":
            columns = column_codec.unpack(part.body, part.count, range(len(part.columns)))
            rows: list[tuple[Any, ...]] = list(zip(*columns, strict=True))
        else:
            opener = zlib.decompressobj()
            plain = opener.decompress(part.body, MOST_PLAIN)
            if opener.unconsumed_tail or not opener.eof:
                raise BadBatch(f"its part of {part.table} is cut off, or longer than {MOST_PLAIN} bytes")
            rows = [tuple(json.loads(line)) for line in plain.decode().splitlines()]
    except (ValueError, zlib.error, MemoryError) as error:
        raise BadBatch(f"its part of {part.table} cannot be read: {error}") from error
    if len(rows) != part.count or any(len(row) != len(part.columns) for row in rows):
        raise BadBatch(f"its part of {part.table} has other rows than it says")
    if part.columns == known:
        return rows
    places = [part.columns.index(name) if name in part.columns else None for name in known]
    return [tuple(None if place is None else row[place] for place in places) for row in rows]


def _part(table: Any, kind: Any, columns: Any, count: Any, first_ms: Any, end_ms: Any, body: bytes, length: Any) -> Part:
    if (table, kind) not in {*((t, "columns") for t in COLUMN_TABLES), *((t, "lines") for t in LINE_TABLES)}:
        raise BadBatch(f"there is no table {table!r:.30} for a fleet")
    if len(body) != _whole(length, 0):
        raise BadBatch("it is cut off")
    names = tuple(_text(name) for name in columns)
    if not 1 <= len(names) <= 64:
        raise BadBatch(f"its part of {table} has {len(names)} columns")
    if not 1 <= _whole(count, 1) <= MOST_ROWS:
        raise BadBatch(f"its part of {table} has {count} rows; at most {MOST_ROWS} are taken at once")
    return Part(table, kind, names, count, _whole(first_ms, -(2**62)), _whole(end_ms, -(2**62)), body)


def _whole(value: Any, least: int) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value < 2**62:
        raise BadBatch(f"{value!r:.30} stands where a whole number belongs")
    return value


def _text(value: Any) -> str:
    if not isinstance(value, str) or len(value) > 200:
        raise BadBatch(f"{value!r:.30} stands where a word belongs")
    return value


def _table(value: Any) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise BadBatch("its cursors are no table")
    return value

