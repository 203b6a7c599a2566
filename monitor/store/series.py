"""Columns over a span of time for the charts: raw rows, minutes, quarters, hours or days, gaps as gaps."""
from dataclasses import dataclass
from operator import itemgetter, sub
from typing import Any

from monitor.store.columns import LEVELS, RAW, ROLLED
from monitor.store.reading import pieces
from monitor.store.view import View

#: name for the caller -> roll-up column, scale
COLUMNS = {name: ROLLED[name][:2] for name in (
    "house_voltage_v", "house_voltage_low_v", "house_voltage_high_v", "house_current_a", "house_current_low_a",
    "house_current_high_a", "starter_voltage_v", "starter_voltage_low_v", "starter_voltage_high_v",
    "house_temperature_c", "charge_frac", "charge_low_frac", "charge_high_frac", "capacity_ah",
    "isolator_closed_frac", "engine_running_frac")}

_RAW_NAMES = tuple(RAW)
#: a silence of so many steps is a gap in the picture
SILENCE_STEPS = 2.5
#: A span up to so long is drawn from single readings [s] (choice: an hour and a quarter at one a second is what a phone draws at once).
RAW_UP_TO_S = 4500


@dataclass(frozen=True, slots=True)
class Series:
    """One list per column, all of one length; None in every column but the time where nothing was logged."""

    level: str
    columns: dict[str, list[float | None]]


def read(log: View, from_utc_s: float, to_utc_s: float, points: int, names: tuple[str, ...] = tuple(COLUMNS)) -> Series:
    """The finest level that needs at most about twice `points` rows. Fewer names are read in less time.

    A level that no longer reaches back so far gives way to the next coarser one. Rows whose checksum does not fit are
    left out: they are the gap they now are.

    Parameters
    ----------
    log : the log, open for reading
    from_utc_s, to_utc_s : span [s]
    points : rows that the picture can show
    names : columns to give
    """
    labels = log.labels
    wanted = to_utc_s - from_utc_s
    parts = pieces(labels, from_utc_s, to_utc_s)
    if not parts:
        return Series("minutes", _empty(names))
    if wanted <= RAW_UP_TO_S:
        readings = [row for a, b, offset in parts for row in _raw(log, a, b, offset)]
        if readings:
            columns = _columns(readings, None, tuple(COLUMNS))
            return Series("raw", {name: columns[name] for name in ("at_utc_s", *names)})
    level = next((name for name, step in LEVELS.items() if wanted / step <= 2 * points), "days")
    levels = list(LEVELS)
    while level != "days" and not _reaches(log, level, parts[0][0]):
        level = levels[levels.index(level) + 1]
    rows: list[tuple[Any, ...]] = []
    for a, b, offset in parts:
        rows += _rows_of_level(log, level, a, b, offset, names)
    return Series(level, _columns(rows, LEVELS[level], names))


def _empty(names: tuple[str, ...]) -> dict[str, list[float | None]]:
    return {"at_utc_s": [], **{name: [] for name in names}}


def _reaches(log: View, level: str, at_ms: int) -> bool:
    """Whether a level's rows go back to a moment as far as the days do."""
    first = log.first_ms(level)
    oldest = min((x for x in (log.first_ms("hours"), log.first_ms("quarters")) if x is not None), default=None)
    return first is not None and (oldest is None or first <= max(at_ms, oldest) + LEVELS[level] * 1000)


def _rows_of_level(log: View, level: str, from_ms: int, to_ms: int, offset_ms: int, names: tuple[str, ...]) -> list[tuple[Any, ...]]:
    """Rows of a level, and of the finer levels where its own latest row is not written yet."""
    rows: list[tuple[Any, ...]] = []
    levels = list(LEVELS)
    columns = [COLUMNS[name][0] for name in names]
    scales = [COLUMNS[name][1] for name in names]
    for finer in reversed(levels[: levels.index(level) + 1]):
        found = list(log.rows_of_level(finer, from_ms, to_ms, ("end_ms", "start_ms", *columns)))
        if not found:
            continue
        ends, starts, *values = zip(*found, strict=True)
        rows += zip([(end + start) // 2 + offset_ms for end, start in zip(ends, starts, strict=True)],
                    *[[None if value is None else value / scale for value in column]
                      for column, scale in zip(values, scales, strict=True)], strict=True)
        from_ms = ends[-1]
    return rows


def _raw(log: View, from_ms: int, to_ms: int, offset_ms: int) -> list[tuple[Any, ...]]:
    found = [row for hour in log.raw(from_ms, to_ms) for row in hour]
    names = tuple(COLUMNS)[10:]
    beliefs = [(end, *[None if v is None else v / COLUMNS[n][1] for n, v in zip(names, values, strict=True)])
               for end, *values in log.rows_of_level("minutes", from_ms, to_ms + 60_000,
                                                     ("end_ms", *[COLUMNS[name][0] for name in names]))]
    rows, place = [], 0
    v, a, s, t = (_RAW_NAMES.index(n) + 1 for n in (
        "house_voltage_v", "house_current_a", "starter_voltage_v", "house_temperature_c"))
    for row in found:
        while place < len(beliefs) - 1 and beliefs[place][0] < row[0]:
            place += 1
        belief = beliefs[place][1:] if beliefs else (None,) * 6
        shown = [None if (value := row[i]) is None else value / 1000 for i in (v, a, s, t)]
        rows.append((row[0] + offset_ms, *(x for x in shown[:3] for _ in range(3)), shown[3], *belief))
    return rows


def _columns(rows: list[tuple[Any, ...]], step_s: float | None, names: tuple[str, ...]) -> dict[str, list[float | None]]:
    if not rows:
        return _empty(names)
    columns = [list(column) for column in zip(*rows, strict=True)]
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
    return {"at_utc_s": [t / 1000 for t in columns[0]], **dict(zip(names, columns[1:], strict=True))}
