"""Columns over a span of time for the charts: raw rows, minutes, quarters, hours or days, gaps as gaps."""
import sqlite3
from dataclasses import dataclass
from operator import itemgetter, sub

from monitor.store import chunks
from monitor.store.columns import LEVELS, RAW, RAW_COLUMNS, ROLLED
from monitor.store.reading import Span, pieces

#: name for the caller -> roll-up column, scale
COLUMNS = {name: ROLLED[name][:2] for name in (
    "house_voltage_v", "house_voltage_low_v", "house_voltage_high_v", "house_current_a", "house_current_low_a",
    "house_current_high_a", "starter_voltage_v", "starter_voltage_low_v", "starter_voltage_high_v",
    "house_temperature_c", "charge_frac", "charge_low_frac", "charge_high_frac", "capacity_ah",
    "isolator_closed_frac", "engine_running_frac")}

_RAW_NAMES = tuple(RAW)
#: a silence of so many steps is a gap in the picture
SILENCE_STEPS = 2.5
RAW_UP_TO_S = 4500


@dataclass(frozen=True, slots=True)
class Series:
    """One list per column, all of one length; None in every column but the time where nothing was logged."""

    level: str
    columns: dict[str, list[float | None]]


def read(connection: sqlite3.Connection, labels: list[Span], from_utc_s: float, to_utc_s: float, points: int,
         names: tuple[str, ...] = tuple(COLUMNS)) -> Series:
    """The finest level that needs at most about twice `points` rows. Fewer names are read in less time.

    A level that no longer reaches back so far gives way to the next coarser one.
    """
    wanted = to_utc_s - from_utc_s
    parts = pieces(labels, from_utc_s, to_utc_s)
    if not parts:
        return Series("minutes", _empty(names))
    if wanted <= RAW_UP_TO_S:
        rows = [row for a, b, offset in parts for row in _raw(connection, a, b, offset)]
        if rows:
            columns = _columns(rows, None, tuple(COLUMNS))
            return Series("raw", {name: columns[name] for name in ("at_utc_s", *names)})
    level = next((name for name, step in LEVELS.items() if wanted / step <= 2 * points), "days")
    levels = list(LEVELS)
    while level != "days" and not _reaches(connection, level, parts[0][0]):
        level = levels[levels.index(level) + 1]
    rows: list[tuple] = []
    for a, b, offset in parts:
        rows += _rolled(connection, level, a, b, offset, names)
    return Series(level, _columns(rows, LEVELS[level], names))


def _empty(names: tuple[str, ...]) -> dict[str, list[float | None]]:
    return {"at_utc_s": [], **{name: [] for name in names}}


def _reaches(connection: sqlite3.Connection, level: str, at_ms: int) -> bool:
    """Whether a level's rows go back to a moment as far as the days do."""
    first = connection.execute(f"select min(end_ms) from {level}").fetchone()[0]
    oldest = connection.execute("select min(end_ms) from (select min(end_ms) as end_ms from hours "
                                "union all select min(end_ms) from quarters)").fetchone()[0]
    return first is not None and (oldest is None or first <= max(at_ms, oldest) + LEVELS[level] * 1000)


def _scaled(names: tuple[str, ...]) -> str:
    """Columns to select, scaled by SQLite."""
    return ", ".join(f"{COLUMNS[name][0]} / {COLUMNS[name][1]}.0" for name in names)


def _rolled(connection: sqlite3.Connection, level: str, from_ms: int, to_ms: int, offset_ms: int,
            columns: tuple[str, ...]) -> list[tuple]:
    """Rows of a level, and of the finer levels where its own latest row is not written yet."""
    rows: list[tuple] = []
    names = list(LEVELS)
    for name in reversed(names[: names.index(level) + 1]):
        rows += connection.execute(
            f"select (end_ms + start_ms) / 2 + ?, {_scaled(columns)} from {name} where end_ms > ? and end_ms <= ? order by end_ms",
            (offset_ms, from_ms, to_ms)).fetchall()
        last = connection.execute(f"select max(end_ms) from {name} where end_ms <= ?", (to_ms,)).fetchone()[0]
        from_ms = max(from_ms, last or from_ms)
    return rows


def _raw(connection: sqlite3.Connection, from_ms: int, to_ms: int, offset_ms: int) -> list[tuple]:
    found = []
    for chunk in connection.execute("select at_ms, end_ms, count, crc, body from chunks where end_ms > ? and at_ms <= ? "
                                    "order by at_ms", (from_ms, to_ms)):
        try:
            found += [row for row in chunks.unpack(*chunk) if from_ms < row[0] <= to_ms]
        except chunks.Damaged:
            continue  # shown as the gap it now is; `ampledger doctor` counts them
    found += connection.execute(f"select at_ms, {', '.join(RAW_COLUMNS)} from samples where at_ms > ? and at_ms <= ? "
                                "order by at_ms", (from_ms, to_ms))
    beliefs = connection.execute(f"select end_ms, {_scaled(tuple(COLUMNS)[10:])} from minutes where end_ms > ? and end_ms <= ? order by end_ms",
                                 (from_ms, to_ms + 60_000)).fetchall()
    rows, place = [], 0
    v, a, s, t = (_RAW_NAMES.index(n) + 1 for n in (
        "house_voltage_v", "house_current_a", "starter_voltage_v", "house_temperature_c"))
    for row in found:
        while place < len(beliefs) - 1 and beliefs[place][0] < row[0]:
            place += 1
        belief = beliefs[place][1:] if beliefs else (None,) * 6
        values = [None if row[i] is None else row[i] / 1000 for i in (v, a, s, t)]
        rows.append((row[0] + offset_ms, *(x for x in values[:3] for _ in range(3)), values[3], *belief))
    return rows


def _columns(rows: list[tuple], step_s: float | None, names: tuple[str, ...]) -> dict[str, list[float | None]]:
    if not rows:
        return _empty(names)
    columns = [list(column) for column in zip(*rows)]
    steps = list(map(sub, columns[0][1:], columns[0]))
    if steps and min(steps) < 0:  # a boot was dated anew and lies over another
        return _columns(sorted(rows, key=itemgetter(0)), step_s, names)
    if step_s is None:
        step_s = max(sorted(steps)[len(steps) // 2] / 1000, 1.0) * 2 if steps else 1.0
    limit = SILENCE_STEPS * step_s * 1000
    if steps and max(steps) > limit:
        for i in reversed([i for i, step in enumerate(steps) if step > limit]):
            columns[0].insert(i + 1, (columns[0][i] + columns[0][i + 1]) // 2)
            for column in columns[1:]:
                column.insert(i + 1, None)
    return {"at_utc_s": [t / 1000 for t in columns[0]], **dict(zip(names, columns[1:]))}
