"""Read-only questions to the log: the one door for the pages and the commands."""
import json
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from monitor.alerts.rules import Alert
from monitor.battery.label import Vehicle
from monitor.findings import Event
from monitor.guides.wiring_plan import Wiring
from monitor.pipeline import Findings
from monitor.planning import battery_history
from monitor.planning.battery_history import BatteryHistory
from monitor.sample import Sample
from monitor.store import chunks, live, reading, saving, series
from monitor.store.batch import Gap
from monitor.store.columns import RAW_COLUMNS, ROLLED
from monitor.store.live import file_of as live_file_of
from monitor.store.reading import NoLog, Span, label_at, utc_s
from monitor.store.rows import sample_of
from monitor.store.series import Series
from monitor.wear import week
from monitor.wear.week import Week

__all__ = ["Day", "LoggedForecast", "LoggedItem", "NoLog", "LatestMinute", "Reader", "Series", "live_file_of"]


@dataclass(frozen=True, slots=True)
class LatestMinute:
    """The latest that is known: when, how well the clock is known, readings, findings, the vehicle."""

    at_s: float
    utc_s: float
    utc_trusted: bool
    utc_sigma_s: float
    simulated: bool
    sample: Sample | None
    findings: Findings
    vehicle: Vehicle


@dataclass(frozen=True, slots=True)
class Day:
    """One day of the books, in amperes-hours, watt-hours and extremes."""

    start_utc_s: float
    end_utc_s: float
    values: dict[str, float | None]  # named as in monitor/store/columns.py ROLLED


@dataclass(frozen=True, slots=True)
class LoggedItem:
    """Something with its moment: at_utc_s as well as it is known, and what it is."""

    at_utc_s: float
    what: Event | Alert | Gap
    until_utc_s: float | None = None


@dataclass(frozen=True, slots=True)
class LoggedForecast:
    """One forecast; times are UTC."""

    at_utc_s: float
    reserve_utc_s: float | None
    reserve_low_utc_s: float | None
    reserve_high_utc_s: float | None
    probability_before_sun: float | None
    lowest_frac: float | None
    lowest_low_frac: float | None
    lowest_high_frac: float | None
    sun_back_utc_s: float | None


class Reader:
    """Questions to one log. Cheap to make, safe to share between threads, holds nothing open."""

    def __init__(self, database: Path) -> None:
        self.database = Path(database)

    def now(self) -> LatestMinute | None:
        """The latest findings, or None before the first minute is written (or where they are damaged).

        While the log cannot be written, or not even be read, they come from the daemon's memory.
        """
        state = live.read(self.database)
        try:
            logged = self._logged_now()
        except (NoLog, sqlite3.Error, OSError):
            if state is None:
                raise
            logged = None
        if state is None or (logged is not None and logged.at_s >= state.at_s):
            return logged
        return LatestMinute(state.at_s, state.at_s + state.utc_offset_s, state.utc_trusted, state.utc_sigma_s, state.simulated,
                            state.sample, state.findings, state.vehicle)

    def _logged_now(self) -> LatestMinute | None:
        with reading.open_for_reading(self.database) as log:
            at_ms, text = reading.findings_text(log.execute("select id, at_ms, crc, body from findings").fetchall())
            row = log.execute(f"select at_ms, {', '.join(RAW_COLUMNS)} from samples order by at_ms desc limit 1").fetchone()
            meta = dict(log.execute("select name, value from meta"))
            labels = reading.spans(log)
        if not text or "vehicle" not in meta:
            return None
        try:
            findings, vehicle = saving.from_text(Findings, text), saving.from_text(Vehicle, meta["vehicle"])
        except ValueError:
            return None  # written by another version; the next minute mends it
        here = label_at(labels, at_ms)
        return LatestMinute(at_ms / 1000, utc_s(labels, at_ms), here.utc_trusted, here.utc_sigma_s,
                   meta.get("simulated") == "1", sample_of(row) if row else None, findings, vehicle)

    def simulated(self) -> bool:
        """Whether the log is of a simulated vehicle; known before its first minute."""
        if (state := live.read(self.database)) is not None:
            return state.simulated
        with reading.open_for_reading(self.database) as log:
            return log.execute("select 1 from meta where name = 'simulated' and value = '1'").fetchone() is not None

    def wiring(self) -> Wiring:
        """What the configuration says of the wiring, the usual where it says nothing or cannot be read."""
        with reading.open_for_reading(self.database) as log:
            row = log.execute("select value from meta where name = 'wiring'").fetchone()
        try:
            return saving.from_text(Wiring, row[0]) if row else Wiring()
        except ValueError:
            return Wiring()

    def sources(self) -> dict[str, str]:
        """Quantity -> the instrument whose value was last believed; empty in a log that does not tell."""
        with reading.open_for_reading(self.database) as log:
            row = log.execute("select value from meta where name = 'sources'").fetchone()
        return {} if row is None else json.loads(row[0])

    def lives(self) -> BatteryHistory:
        """The batteries that were told of; none where nobody said anything, or another version did."""
        with reading.open_for_reading(self.database) as log:
            row = log.execute("select value from meta where name = 'batteries'").fetchone()
        return battery_history.read(row[0] if row else None)

    def weeks(self) -> list[tuple[float, Week]]:
        """Every week of the house battery on record, as (UTC of its end, record), oldest first."""
        return [(e.at_utc_s, week.of_event(e.what)) for e in self.events_of(week.WEEK_EVENT)]

    def events_of(self, kind: str) -> list[LoggedItem]:
        """Every event of one kind, oldest first."""
        with reading.open_for_reading(self.database) as log:
            labels = reading.spans(log)
            rows = log.execute("select at_ms, kind, battery, message, figures from events where kind = ? order by at_ms, id",
                               (kind,)).fetchall()
        return [LoggedItem(utc_s(labels, at), Event(at / 1000, kind, battery, message, tuple(map(tuple, json.loads(figures)))))
                for at, kind, battery, message, figures in rows]

    def span(self) -> tuple[float, float] | None:
        """UTC of the first and the last minute in the log [s], or None while it is empty."""
        with reading.open_for_reading(self.database) as log:
            ends = [log.execute(f"select {column} from {level} order by end_ms {way} limit 1").fetchone()
                    for level in ("minutes", "quarters") for column, way in (("start_ms", "asc"), ("end_ms", "desc"))]
            first = min((row[0] for row in ends[::2] if row), default=None)  # the ends of an index, not a walk through all rows
            last = max((row[0] for row in ends[1::2] if row), default=None)
            labels = reading.spans(log)
        return None if first is None else (utc_s(labels, first), utc_s(labels, last))

    def series(self, from_utc_s: float, to_utc_s: float, points: int = 1500,
               names: tuple[str, ...] = tuple(series.COLUMNS)) -> Series:
        """Columns over a span, from the level that suits it; see monitor/store/series.py."""
        with reading.open_for_reading(self.database) as log:
            return series.read(log, reading.spans(log), from_utc_s, to_utc_s, points, names)

    def days(self, count: int = 31) -> list[Day]:
        """The latest days, oldest first; the last one is not over yet."""
        names = ", ".join(column for column, _, _ in ROLLED.values())
        with reading.open_for_reading(self.database) as log:
            rows = log.execute(f"select start_ms, end_ms, {names} from days order by start_ms desc limit ?", (count,)).fetchall()
            labels = reading.spans(log)
        return [Day(utc_s(labels, row[0]), utc_s(labels, row[1]),
                    {name: None if value is None else value / scale for (name, (_, scale, _)), value in zip(ROLLED.items(), row[2:])})
                for row in reversed(rows)]

    def events(self, from_utc_s: float = 0.0, to_utc_s: float = 1e12) -> list[LoggedItem]:
        """Events whose moment lies in a span, oldest first."""
        with reading.open_for_reading(self.database) as log:
            rows = _between(log, "select at_ms, ?, kind, battery, message, figures from events where at_ms > ? and at_ms <= ? "
                            "order by at_ms, id", from_utc_s, to_utc_s)
        return [LoggedItem((at + offset) / 1000, Event(at / 1000, kind, battery, message, tuple(map(tuple, json.loads(figures)))))
                for at, offset, kind, battery, message, figures in rows]

    def alerts(self, open_only: bool = False, limit: int = 200) -> list[LoggedItem]:
        """Alerts as they stand, latest first; until_utc_s is when an alert cleared."""
        if open_only and (state := live.read(self.database)) is not None:  # the log cannot be written: it knows of no newer ones
            at_utc_s = lambda at_s: None if at_s is None else at_s + state.utc_offset_s
            return [LoggedItem(at_utc_s(a.raised_at_s), a, at_utc_s(a.cleared_at_s)) for a in reversed(state.alerts)]
        where = "where state != 'normal'" if open_only else ""
        with reading.open_for_reading(self.database) as log:
            rows = log.execute(f"select body from alerts {where} order by raised_ms desc, id desc limit ?", (limit,)).fetchall()
            labels = reading.spans(log)
        found = []
        for (body,) in rows:
            alert = saving.from_text(Alert, body)
            cleared = None if alert.cleared_at_s is None else utc_s(labels, round(alert.cleared_at_s * 1000))
            found.append(LoggedItem(utc_s(labels, round(alert.raised_at_s * 1000)), alert, cleared))
        return found

    def forecasts(self, from_utc_s: float = 0.0, to_utc_s: float = 1e12) -> list[LoggedForecast]:
        """What was foreseen, an hour apart, oldest first."""
        with reading.open_for_reading(self.database) as log:
            rows = _between(
                log, "select at_ms, ?, reserve_in_s, reserve_in_low_s, reserve_in_high_s, probability_before_sun, lowest_frac, "
                "lowest_low_frac, lowest_high_frac, sun_back_in_s from forecasts where at_ms > ? and at_ms <= ? order by at_ms",
                from_utc_s, to_utc_s)
        found = []
        for at, offset, reserve, low, high, probability, *lowest, sun in rows:
            at_utc = (at + offset) / 1000
            ahead = [None if t is None else at_utc + t for t in (reserve, low, high, sun)]
            found.append(LoggedForecast(at_utc, *ahead[:3], probability, *lowest, ahead[3]))
        return found

    def gaps(self, from_utc_s: float = 0.0, to_utc_s: float = 1e12) -> list[LoggedItem]:
        """Times in which a quantity was not measured, oldest first; until_utc_s None while it lasts."""
        with reading.open_for_reading(self.database) as log:
            rows = log.execute("select quantity, reason, from_ms, until_ms, count from gaps order by from_ms").fetchall()
            labels = reading.spans(log)
        found = []
        for quantity, reason, start, until, count in rows:
            gap = Gap(quantity, reason, start / 1000, None if until is None else until / 1000, count)
            end = None if until is None else utc_s(labels, until)
            found.append(LoggedItem(utc_s(labels, start), gap, end))
        return [g for g in found if g.at_utc_s <= to_utc_s and (g.until_utc_s or 1e12) >= from_utc_s]

    def rows(self, from_utc_s: float = 0.0, to_utc_s: float = 1e12,
             damaged: Callable[[float, float], None] | None = None) -> Iterator[tuple[float, Sample]]:
        """Every reading in a span as (UTC, sample), an hour of them in memory at a time.

        damaged is told first and last moment [UTC] of each hour whose checksum does not fit, which is left out.

        Raises
        ------
        monitor.store.chunks.Damaged : there is such an hour and nobody to tell
        """
        with reading.open_for_reading(self.database) as log:
            labels = reading.spans(log)
            columns = ", ".join(RAW_COLUMNS)
            places = log.execute("select at_ms from chunks order by at_ms").fetchall()
            for (place,) in places:
                if utc_s(labels, place) > to_utc_s or utc_s(labels, place) < from_utc_s - 7200:
                    continue
                chunk = log.execute("select at_ms, end_ms, count, crc, body from chunks where at_ms = ?", (place,)).fetchone()
                if not chunk:
                    continue
                try:
                    unpacked = chunks.unpack(*chunk)
                except chunks.Damaged:
                    if damaged is None:
                        raise
                    damaged(utc_s(labels, chunk[0]), utc_s(labels, chunk[1]))
                    continue
                yield from self._dated(labels, unpacked, from_utc_s, to_utc_s)
            last = log.execute("select max(end_ms) from chunks").fetchone()[0]
            yield from self._dated(labels, log.execute(
                f"select at_ms, {columns} from samples where at_ms > ? order by at_ms", (last if last is not None else -2**62,)),
                from_utc_s, to_utc_s)

    def rolled(self, level: str, from_utc_s: float = 0.0, to_utc_s: float = 1e12) -> Iterator[tuple[float, float, dict]]:
        """Every row of minutes, quarters, hours or days in a span, as (UTC start, UTC end, values)."""
        names = ", ".join(column for column, _, _ in ROLLED.values())
        with reading.open_for_reading(self.database) as log:
            labels = reading.spans(log)
            for start, end, *row in log.execute(f"select start_ms, end_ms, {names} from {level} order by end_ms"):
                if from_utc_s <= utc_s(labels, end) <= to_utc_s:
                    yield utc_s(labels, start), utc_s(labels, end), {
                        name: None if value is None else value / scale
                        for (name, (_, scale, _)), value in zip(ROLLED.items(), row)}

    @staticmethod
    def _dated(labels: list[Span], rows, from_utc_s: float, to_utc_s: float) -> Iterator[tuple[float, Sample]]:
        for row in rows:
            at_utc = utc_s(labels, row[0])
            if from_utc_s <= at_utc <= to_utc_s:
                yield at_utc, sample_of(row)


def _between(log, question: str, from_utc_s: float, to_utc_s: float) -> list[tuple]:
    """Rows of every stretch of time in a span of UTC; the question is given offset, after and until [ms]."""
    return [row for after, until, offset in reading.pieces(reading.spans(log), from_utc_s, to_utc_s)
            for row in log.execute(question, (offset, after, until))]
