"""The nights that came closest to the reserve, or went below it, out of the log's quarter hours."""
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from monitor.reporting.sentences import number

DAY = 86400.0


@dataclass(frozen=True, slots=True)
class WorstNight:
    """One night, noon to noon: its lowest charge with the interval of that moment, and what was spent."""

    noon_utc_s: float
    lowest_utc_s: float
    lowest_frac: float
    low_frac: float | None
    high_frac: float | None
    spent_ah: float


def nights(quarters: Sequence[tuple[float, float, dict]], hour_of: Callable[[float], float]) -> list[WorstNight]:
    """Every night of which the charge is known for half the time, oldest first.

    quarters : (UTC start, UTC end, values) of the log's quarter hours; hour_of : local clock hour of a moment
    """
    groups: list[list[tuple[float, dict]]] = []
    before_s, before_hour = -1e12, 0.0
    for start, end, values in quarters:
        middle = (start + end) / 2
        hour = hour_of(middle)
        if middle - before_s > DAY / 2 or before_hour < 12 <= hour:
            groups.append([])
        groups[-1].append((middle, values))
        before_s, before_hour = middle, hour
    found = []
    for rows in groups:
        known = [(at, v) for at, v in rows if v["charge_frac"] is not None]
        if len(known) < 48:
            continue
        at, worst = min(known, key=lambda row: row[1]["charge_frac"])
        found.append(WorstNight(rows[0][0], at, worst["charge_frac"], worst["charge_low_frac"], worst["charge_high_frac"],
                           sum(v["charge_out_ah"] or 0.0 for _, v in rows)))
    return found


def lines(found: Sequence[WorstNight], reserve_frac: float, when: Callable[[float], str], most: int = 5) -> list[tuple[str, ...]]:
    """The worst few as (evening, lowest charge, at, spent, against the reserve), the lowest first.

    found: nights, in any order; reserve_frac: charge that is to stay, 0 to 1; when: turns UTC [s] into words; most: at most so
    many.
    """
    worst = sorted(found, key=lambda night: night.lowest_frac)[:most]
    return [(when(n.noon_utc_s), _frac(n), when(n.lowest_utc_s)[-5:], f"{number(n.spent_ah)} Ah",
             "below" if n.lowest_frac < reserve_frac else f"{number(100 * (n.lowest_frac - reserve_frac))} points above")
            for n in worst]


def _frac(night: WorstNight) -> str:
    value = f"{number(100 * night.lowest_frac)} %"
    if night.low_frac is None or night.high_frac is None:
        return value
    return f"{value} ({number(100 * night.low_frac)}–{number(100 * night.high_frac)})"
