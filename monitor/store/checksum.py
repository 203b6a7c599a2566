"""A checksum over each row of the log: SQLite's own check looks at the order of its pages, never at the values in them.

CRC-32 (ISO 3309) over the table's name and the row's values, the key among them, so that neither a changed value nor a row
under another key passes. It finds every single flipped bit and every burst of up to 32.
"""
import json
import struct
import zlib
from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

from monitor.store.all_or_nothing import transaction
from monitor.store.columns import LEVELS, TABLE_COLUMNS

#: what stands for "not measured" among 64-bit whole numbers
_NONE = -(2**63)
_INTEGERS = {"samples", *LEVELS}
_ENCODE = json.JSONEncoder(separators=(",", ":")).encode

#: SQLite's user_version of a log in which every row has a checksum: there a row without one is damaged. A sector of zeros reads as
#: rows without values, the checksum among them.
ALL_CHECKED = 0x616D7043
#: the checksum; where there is none and there must be one, a number that fits no row
CRC = f"coalesce(crc, (select user_version from pragma_user_version where user_version = {ALL_CHECKED}))"

Row = Sequence[Any]


class RowDamaged(ValueError):
    """A row whose checksum does not fit: not one value of it is believed."""


@cache
def checksum_of(table: str) -> Callable[[Row], int]:
    """The function that gives the checksum (signed, 32 bits) of a row of that table, from its values in the table's order."""
    seed = zlib.crc32(table.encode())

    def signed_crc32(data: bytes) -> int:
        found = zlib.crc32(data, seed)
        return found - 2**32 if found >= 2**31 else found

    if table not in _INTEGERS:
        return lambda row: signed_crc32(_ENCODE(list(row)).encode())
    pack = struct.Struct(f"<{len(TABLE_COLUMNS[table])}q").pack

    def integers(row: Row) -> int:
        try:
            return signed_crc32(pack(*[_NONE if value is None else value for value in row]))
        except struct.error:  # something that is no whole number, or a row of another length: nothing of ours
            return 2**40

    return integers


@cache
def level_reader(level: str) -> tuple[str, Callable[[Row], bool], int]:
    """For many rows of a level at once: columns to select, whether such a row (checksum last) is sound, and what stands for None in it.

    The same judgement as `is_sound`, in a third of the time.
    """
    columns, seed = TABLE_COLUMNS[level], zlib.crc32(level.encode())
    pack, crc32 = struct.Struct(f"<{len(columns)}q").pack, zlib.crc32

    def sound(row: Row) -> bool:
        if row[-1] is None:
            return True
        try:
            found = crc32(pack(*row[:-1]), seed)
        except struct.error:  # something that is no whole number: nothing of ours
            return False
        return bool(row[-1] == (found if found < 2**31 else found - 2**32))

    return ", ".join((*(f"coalesce({name}, {_NONE})" for name in columns), CRC)), sound, _NONE


@cache
def columns_of(table: str) -> str:
    """Columns to select, checksum last, so that `is_sound` and `verify` can judge the rows."""
    return ", ".join((*TABLE_COLUMNS[table], CRC))


@cache
def insert_of(table: str) -> str:
    """The statement that writes rows from `add_checksum`."""
    columns = (*TABLE_COLUMNS[table], "crc")
    return f"insert or replace into {table} ({', '.join(columns)}) values ({', '.join('?' * len(columns))})"


def add_checksum(table: str, row: Row) -> tuple[Any, ...]:
    """The row with its checksum behind it."""
    return (*row, checksum_of(table)(row))


def is_sound(table: str, row: Row) -> bool:
    """Whether a row, checksum last, is as it was written. A row from before there were checksums (NULL) counts as sound."""
    try:
        return row[-1] is None or row[-1] == checksum_of(table)(row[:-1])
    except (TypeError, ValueError):  # bytes or worse where there was text
        return False


def verify(table: str, row: Row) -> Row:
    """The row without its checksum.

    Raises
    ------
    RowDamaged : its checksum does not fit
    """
    if not is_sound(table, row):
        raise RowDamaged(f"row {row[0]!r:.40} of {table} is damaged: its checksum does not fit")
    return row[:-1]


def demand_all(sql: Callable[..., Any]) -> bool:
    """Has a row without a checksum count as damaged from now on, if there is none left; returns whether it is so."""
    if sql("pragma user_version").fetchone()[0] == ALL_CHECKED:
        return True
    if any(sql(f"select 1 from {table} where crc is null limit 1").fetchone() for table in TABLE_COLUMNS):
        return False
    sql(f"pragma user_version = {ALL_CHECKED}")
    return True


#: the word about the log that says when and what was damaged: [moment [s], sentence]
DAMAGE = "damage"


def meta_row(name: str, value: str) -> tuple[str, tuple[Any, ...]]:
    """Statement and values that keep a word about the log as a whole."""
    return insert_of("meta"), add_checksum("meta", (name, value))


def fill(sql: Callable[..., Any], most: int = 500) -> bool:
    """Gives rows from before there were checksums theirs, some at a time; returns whether there may be more.

    What is moved into sealed files soon is left to that.
    """
    for table in TABLE_COLUMNS:
        if table in ("samples", "minutes", "quarters"):
            continue
        rows = sql(f"select {columns_of(table)} from {table} where crc is null limit ?", (most,)).fetchall()
        if rows:
            with transaction(sql):
                for row in rows:
                    sql(insert_of(table), add_checksum(table, tuple(row[:-1])))
            return True
    return False
