"""Quarters, hours and days out of minutes: each row is worked out anew from finer rows, so never counted twice."""
from collections.abc import Callable
from typing import Any

from monitor.store import checksum
from monitor.store.columns import LEVELS, ROLLED, adding_up

_ADDED = ", ".join(adding_up(how, column) for column, _, how in ROLLED.values())


def roll(sql: Callable[..., Any], before_ms: int | None, end_ms: int) -> None:
    """Writes every quarter and hour that ended after the minute at before_ms, up to the one at end_ms.

    The row of a span that is not over yet is left to the reader, who sees the minutes.

    sql: runs a statement; before_ms, end_ms: of the log's time [ms], before_ms None: from the beginning.

    Raises
    ------
    monitor.store.checksum.RowDamaged : a finer row is not as it was written
    """
    for level, finer in (("quarters", "minutes"), ("hours", "quarters")):
        step = LEVELS[level] * 1000
        if before_ms is None:
            before_ms = sql("select min(end_ms) from minutes").fetchone()[0] - 1
        found = sql(f"select end_ms from {finer} where end_ms > ? and end_ms <= ?", (before_ms // step * step, end_ms))
        for ends in sorted({-(-row[0] // step) * step for row in found}):  # a silence of a year has no quarters to look at
            if before_ms < ends <= end_ms:
                _put(sql, level, finer, "?, min(start_ms)", (ends,), ends - step, ends)


def day(sql: Callable[..., Any], start_ms: int, end_ms: int) -> None:
    """Writes the row of one day from its minutes, in place of the row it had so far.

    sql: runs a statement; start_ms, end_ms: of the day, on the log's time [ms].
    """
    sql("delete from days where start_ms = ?", (start_ms,))
    _put(sql, "days", "minutes", "?, ?", (end_ms, start_ms), start_ms, end_ms)


def fill(sql: Callable[..., Any]) -> None:
    """Writes quarters and hours that are missing beside finer rows that are there."""
    for level, finer in (("quarters", "minutes"), ("hours", "quarters")):
        step = LEVELS[level] * 1000
        ends_of = [row[0] for row in sql(f"select end_ms from {finer} order by end_ms")]
        known = {row[0] for row in sql(f"select end_ms from {level}")}
        for ends in sorted({-(-end // step) * step for end in ends_of} - known):
            if ends <= ends_of[-1]:
                _put(sql, level, finer, "?, min(start_ms)", (ends,), ends - step, ends)


def _put(sql: Callable[..., Any], level: str, finer: str, ends: str, values: tuple[int, ...], after_ms: int, until_ms: int) -> None:
    for row in sql(f"select {checksum.columns_of(finer)} from {finer} where end_ms > ? and end_ms <= ?", (after_ms, until_ms)):
        checksum.verify(finer, row)
    row = sql(f"select {ends}, {_ADDED} from {finer} where end_ms > ? and end_ms <= ? having count(*) > 0",
              (*values, after_ms, until_ms)).fetchone()
    if row is not None:
        sql(checksum.insert_of(level), checksum.add_checksum(level, tuple(row)))
