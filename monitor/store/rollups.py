"""Quarters, hours and days out of minutes: each row is worked out anew from finer rows, so never counted twice."""
from collections.abc import Callable
from typing import Any

from monitor.store.columns import LEVELS, ROLLED, adding_up

_COLUMNS = ", ".join(column for column, _, _ in ROLLED.values())
_ADDED = ", ".join(adding_up(how, column) for column, _, how in ROLLED.values())


def roll(sql: Callable[..., Any], before_ms: int | None, end_ms: int) -> None:
    """Writes every quarter and hour that ended after the minute at before_ms, up to the one at end_ms.

    The row of a span that is not over yet is left to the reader, who sees the minutes.
    """
    for level, finer in (("quarters", "minutes"), ("hours", "quarters")):
        step = LEVELS[level] * 1000
        if before_ms is None:
            before_ms = sql("select min(end_ms) from minutes").fetchone()[0] - 1
        for ends in range((before_ms // step + 1) * step, end_ms + 1, step):
            sql(f"insert or replace into {level} (end_ms, start_ms, {_COLUMNS}) select ?, min(start_ms), {_ADDED} "
                f"from {finer} where end_ms > ? and end_ms <= ? having count(*) > 0", (ends, ends - step, ends))


def day(sql: Callable[..., Any], start_ms: int, end_ms: int) -> None:
    """Writes the row of one day from its minutes, in place of the row it had so far."""
    sql("delete from days where start_ms = ?", (start_ms,))
    sql(f"insert or replace into days (end_ms, start_ms, {_COLUMNS}) select ?, ?, {_ADDED} "
        "from minutes where end_ms > ? and end_ms <= ? having count(*) > 0", (end_ms, start_ms, start_ms, end_ms))
