"""Moves days that are over into sealed files. Killed at any moment it begins that day again, and nothing is lost or doubled."""
import json
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from monitor.store import checksum, column_codec, past, reading, segment
from monitor.store.all_or_nothing import transaction
from monitor.store.chunks import Damaged, unpack
from monitor.store.columns import LEVELS, TABLE_COLUMNS
from monitor.store.past import DAY_MS, KINDS
from monitor.store.segment import CHUNK, COLUMNS, LINES, Block

Sql = Callable[..., Any]

#: A day is sealed when it has been over for so long: the row of a calendar day, which can be 36 hours long where the clock was
#: set or a night was slept through, is worked out from its minutes until then.
SEAL_AFTER_MS = 38 * 3_600_000
#: what leaves the present when a day is sealed -> the column that says when; everything else is in both
MOVED = {"chunks": "end_ms", "cranks": "at_ms", "minutes": "end_ms", "quarters": "end_ms"}
#: when a row of a table that stays happened; boots and meta are written whole
_WHEN = {"hours": "end_ms", "days": "end_ms", "forecasts": "at_ms", "events": "at_ms", "gaps": "from_ms", "alerts": "at_ms"}


def due(sql: Sql, latest_ms: int) -> int | None:
    """The oldest day of the present that may be sealed, or None. A day whose readings are not all packed into hours waits."""
    firsts = [sql(f"select min({column}) from {table}").fetchone()[0] for table, column in MOVED.items()]
    oldest = min((first for first in firsts if first is not None), default=None)
    if oldest is None:
        return None
    number = past.number_of(oldest)
    loose = sql("select min(at_ms) from samples").fetchone()[0]
    if loose is not None and past.number_of(loose) <= number:
        return None
    return number if (number + 1) * DAY_MS + SEAL_AFTER_MS <= latest_ms else None


def seal(sql: Sql, folder: Path, number: int) -> int:
    """Writes the files of one day, then takes what moved out of the present. Returns the bytes written.

    Every row is proved by its checksum on the way, and every packed hour by its own. What a file of that day holds already
    and the present does not (rows that came after it was sealed) stays in it.

    sql: runs a statement; folder: of sealed days; number: of the day.

    Raises
    ------
    RowDamaged, chunks.Damaged : the present is damaged; nothing was moved
    OSError : a file cannot be written; nothing was moved
    """
    start, end = number * DAY_MS, (number + 1) * DAY_MS
    size = 0
    for kind in KINDS:
        path = past.path_of(folder, kind, number)
        blocks = _merge_blocks(path, list(_blocks(sql, kind, start, end)), KINDS[kind])
        if blocks or kind == "books":
            size += segment.write(path, blocks)
    with transaction(sql):
        for table, column in MOVED.items():
            sql(f"delete from {table} where {column} > ? and {column} <= ?", (start, end))
    return size


def _merge_blocks(path: Path, fresh: list[tuple[Block, bytes]], tables: tuple[str, ...]) -> list[tuple[Block, bytes]]:
    """The fresh blocks, with what only the file at path has of the tables that leave the present."""
    try:
        with open(path, "rb") as file:
            sealed = past.read_blocks(file, path.name)
    except FileNotFoundError:
        return fresh
    found = [pair for pair in fresh if pair[0].table not in MOVED]
    for table in set(tables) & set(MOVED):
        found += _union([pair for pair in sealed if pair[0].table == table], [pair for pair in fresh if pair[0].table == table])
    return sorted(found, key=lambda pair: (tables.index(pair[0].table), pair[0].first_ms))


def _union(sealed: list[tuple[Block, bytes]], fresh: list[tuple[Block, bytes]]) -> list[tuple[Block, bytes]]:
    """Blocks of one table with every row of both, the fresh one where both have it; known losses stay named."""
    lost = [pair for pair in sealed if pair[0].kind == segment.MISSING]
    held = [pair for pair in sealed if pair[0].kind != segment.MISSING]
    if not held or not fresh:
        return lost + (fresh or held)
    table, kind = fresh[0][0].table, fresh[0][0].kind
    if kind == CHUNK:
        return lost + list({block.first_ms: (block, body) for block, body in held + fresh}.values())
    rows: dict[Any, tuple[Any, ...]] = {}
    for block, body in held + fresh:
        rows |= {row[0]: row for row in past.rows_of(block, body)}
    ordered = [rows[moment] for moment in sorted(rows)]
    return lost + list(_columns(table, ordered) if kind == COLUMNS else _lines(table, ordered, 0))


def _blocks(sql: Sql, kind: str, start: int, end: int) -> Iterator[tuple[Block, bytes]]:
    for table in KINDS[kind]:
        if table == "chunks":
            for row in sql("select at_ms, end_ms, count, crc, body from chunks where end_ms > ? and end_ms <= ? order by at_ms",
                           (start, end)).fetchall():
                unpack(*row)
                at_ms, end_ms, count, crc, body = row
                yield Block(table, CHUNK, at_ms, end_ms, count, 0, 0), crc.to_bytes(4, "little") + body
        elif table == "cranks":
            rows = [(at_ms, _text(at_ms, crc, body)) for at_ms, crc, body in sql(
                "select at_ms, crc, body from cranks where at_ms > ? and at_ms <= ? order by at_ms", (start, end)).fetchall()]
            yield from _lines(table, rows, 0)
        elif table in ("minutes", "quarters"):
            yield from _columns(table, _rows(sql, table, "end_ms", start, end))
        elif table in _WHEN:
            rows = _rows(sql, table, _WHEN[table], start, end)
            if table in LEVELS:
                yield from _columns(table, rows)
            else:
                yield from _lines(table, rows, TABLE_COLUMNS[table].index(_WHEN[table]))
        else:
            rows = [tuple(checksum.verify(table, row)) for row in sql(f"select {checksum.columns_of(table)} from {table}").fetchall()]
            yield from _lines(table, rows, None, end)


def _rows(sql: Sql, table: str, column: str, start: int, end: int) -> list[tuple[Any, ...]]:
    question = f"select {checksum.columns_of(table)} from {table} where {column} > ? and {column} <= ? order by {column}"
    return [tuple(checksum.verify(table, row)) for row in sql(question, (start, end)).fetchall()]


def _columns(table: str, rows: list[tuple[Any, ...]]) -> Iterator[tuple[Block, bytes]]:
    if rows:
        yield Block(table, COLUMNS, min(row[1] for row in rows), rows[-1][0], len(rows), 0, 0), column_codec.pack(rows)


def _lines(table: str, rows: list[tuple[Any, ...]], when: int | None, end: int = 0) -> Iterator[tuple[Block, bytes]]:
    if rows:
        first, last = (end, end) if when is None else (rows[0][when], rows[-1][when])
        body = zlib.compress("\n".join(json.dumps(row, separators=(",", ":")) for row in rows).encode(), 9)
        yield Block(table, LINES, first, last, len(rows), 0, 0), body


def _text(at_ms: int, crc: int, body: bytes) -> str:
    text = reading.text_of(at_ms, crc, body)
    if text is None:
        raise Damaged(f"the quick readings of {at_ms / 1000:.0f} s are damaged: their checksum does not fit")
    return text
