"""Read-only questions to the log: the one door for the pages and the commands."""
import json
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from monitor.alerts.rules import Alert
from monitor.battery.label import Vehicle
from monitor.findings import Event
from monitor.guides.wiring_plan import Wiring
from monitor.logbook import entries, live
from monitor.logbook.entries import Entries, Entry
from monitor.logbook.live import file_of as live_file_of
from monitor.pipeline import Findings
from monitor.sample import Sample
from monitor.store import chunks, reading, saving, series
from monitor.store.batch import Gap
from monitor.store.columns import ROLLED
from monitor.store.past import Damaged
from monitor.store.reading import NoLog, Span, label_at, utc_s
from monitor.store.sample_rows import sample_of
from monitor.store.series import Series
from monitor.store.view import View, open_view
from monitor.wear import week
from monitor.wear.battery_history import BatteryHistory
from monitor.wear.watched_test import WatchedTest
from monitor.wear.week import Week

__all__ = ["Alert", "Day", "Entry", "Gap", "LoggedForecast", "LoggedItem", "NoLog", "LatestMinute", "Reader", "Series", "live_file_of"]


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


What = TypeVar("What", Event, Alert, Gap)


@dataclass(frozen=True, slots=True)
class LoggedItem(Generic[What]):
    """Something with its moment: at_utc_s as well as it is known, and what it is."""

    at_utc_s: float
    what: What
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

    #: What `together` holds open.
    _moment: View | None = None

    def __init__(self, database: Path) -> None:
        self.database = Path(database)

    @contextmanager
    def together(self) -> Iterator["Reader"]:
        """This reader over one moment of the log, opened once for many questions; for one thread, and not for long. Raises NoLog."""
        with self._view() as view:
            held = copy(self)
            held._moment = view
            yield held

    @contextmanager
    def _view(self) -> Iterator[View]:
        """The log, for one question or a few that belong together. Raises NoLog."""
        if self._moment is None:
            with open_view(self.database) as view:
                yield view
        else:
            with reading.explain_errors(self.database):
                yield self._moment

    def _memory(self) -> live.LiveState | None:
        """What the daemon shows from its memory; None while the log can be written."""
        return live.read(self.database)

    def now(self) -> LatestMinute | None:
        """The latest findings, or None before the first minute is written (or where they are damaged).

        While the log cannot be written, or not even be read, they come from the daemon's memory.
        """
        state = self._memory()
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

    def age_s(self, now: LatestMinute | None) -> float:
        """Seconds since the log, or the daemon's memory, was last written; by its own date too where that is real and trusted [s].

        A board that does not know the time dates its log by what it was told last: that date says nothing of the age.

        now: the latest minute
        """
        age_s = time.time() - self._written_utc_s()
        if now is not None and now.utc_trusted and not now.simulated:
            age_s = max(age_s, time.time() - now.utc_s)
        return max(age_s, 0.0)

    def _written_utc_s(self) -> float:
        """When the log, or the daemon's memory, was last written, by this machine's clock [s]; 0 where neither is there."""
        wal = self.database.with_name(self.database.name + "-wal")
        files = (self.database, wal, live_file_of(self.database) or wal)
        return max((file.stat().st_mtime for file in files if file.exists()), default=0.0)

    def _logged_now(self) -> LatestMinute | None:
        with self._view() as log:
            at_ms, text = log.findings_text()
            row = log.last_sample()
            meta = dict(log.rows("meta"))
            labels = log.labels
        if not text or "vehicle" not in meta:
            return None
        try:
            findings, vehicle = saving.from_text(Findings, text), saving.from_text(Vehicle, meta["vehicle"])
        except ValueError:
            return None  # written by another version; the next minute mends it
        here = label_at(labels, at_ms)
        return LatestMinute(at_ms / 1000, utc_s(labels, at_ms), here.utc_trusted, here.utc_sigma_s,
                   meta.get("simulated") == "1", sample_of(row) if row else None, findings, vehicle)

    def is_simulated(self) -> bool:
        """Whether the log is of a simulated vehicle; known before its first minute."""
        if (state := self._memory()) is not None:
            return state.simulated
        return self._meta("simulated") == "1"

    def wiring(self) -> Wiring:
        """What the configuration says of the wiring, the usual where it says nothing or cannot be read."""
        text = self._meta("wiring")
        try:
            return saving.from_text(Wiring, text) if text else Wiring()
        except ValueError:
            return Wiring()

    def sources(self) -> dict[str, str]:
        """Quantity -> the instrument whose value was last believed; empty in a log that does not tell."""
        text = self._meta("sources")
        return {} if text is None else json.loads(text)

    def meta(self, name: str) -> str | None:
        """A word about the log as a whole, or None where there is no such word."""
        return self._meta(name)

    def relearning(self) -> float | None:
        """How far the daemon is in learning from the log again [0..1], or None where it is not at it (or the log cannot be read)."""
        try:
            text = self._meta("relearning")
            return float(json.loads(text)["part"]) if text else None
        except (ValueError, KeyError, TypeError, NoLog, sqlite3.Error, OSError):
            return None

    def lives(self) -> BatteryHistory:
        """The batteries that were told of; none where nobody said anything, or another version did."""
        return entries.read_batteries(self._meta("batteries"))

    def capacity_test(self) -> WatchedTest | None:
        """The latest capacity test that somebody asked for; None where nobody did, or another version wrote it."""
        text = self._meta("capacity_test")
        try:
            return saving.from_text(WatchedTest, text) if text else None
        except ValueError:
            return None

    def entries(self) -> Entries:
        """What the owner told the daemon, oldest first; none where nobody did, or another version wrote them."""
        return entries.read(self._meta("entries"))

    def weeks(self) -> list[tuple[float, Week]]:
        """Every week of the house battery on record, as (UTC of its end, record), oldest first."""
        return [(e.at_utc_s, week.of_event(e.what)) for e in self.events_of(week.WEEK_EVENT)]

    def events_of(self, kind: str) -> list[LoggedItem[Event]]:
        """Every event of one kind, oldest first."""
        with self._view() as log:
            labels = log.labels
            rows = log.rows("events", "where kind = ? order by at_ms, id", (kind,))
        return [LoggedItem(utc_s(labels, row[1]), event_of(row)) for row in rows]

    def labels(self) -> tuple[Span, ...]:
        """How the line of time is labelled."""
        with self._view() as log:
            return tuple(log.labels)

    def latest_of(self, kind: str) -> float | None:
        """UTC of the latest event of one kind, None where there is none."""
        with self._view() as log:
            rows = log.rows("events", "where kind = ? order by at_ms desc, id desc limit 3", (kind,))
            return utc_s(log.labels, rows[0][1]) if rows else None

    def span(self) -> tuple[float, float] | None:
        """UTC of the first and the last minute in the log [s], or None while it is empty."""
        with self._view() as log:
            first, last = log.ends()
            labels = log.labels
        return None if first is None or last is None else (utc_s(labels, first), utc_s(labels, last))

    def series(self, from_utc_s: float, to_utc_s: float, points: int = 1500,
               names: tuple[str, ...] = tuple(series.COLUMNS)) -> Series:
        """Columns over a span, from the level that suits it; see monitor/store/series.py.

        from_utc_s, to_utc_s: the span, UTC [s]; points: about so many rows; names: the columns.
        """
        with self._view() as log:
            return series.read(log, from_utc_s, to_utc_s, points, names)

    def days(self, count: int = 31) -> list[Day]:
        """The latest days, oldest first; the last one is not over yet."""
        with self._view() as log:
            rows = log.rows("days", "order by start_ms desc limit ?", (count,))
            labels = log.labels
        return [Day(utc_s(labels, row[1]), utc_s(labels, row[0]), _unscale(row[2:])) for row in reversed(rows)]

    def events(self, from_utc_s: float = 0.0, to_utc_s: float = 1e12, most: int | None = None) -> list[LoggedItem[Event]]:
        """Events whose moment lies in a span, oldest first; the first `most` of them.

        from_utc_s, to_utc_s: the span, UTC [s]; most: at most so many, None: all.
        """
        with self._view() as log:
            rows = _between(log, "events", "order by at_ms, id", from_utc_s, to_utc_s, most)
        return [LoggedItem((row[1] + offset) / 1000, event_of(row)) for offset, row in rows]

    def alerts(self, open_only: bool = False, limit: int = 200, below: int | None = None) -> list[LoggedItem[Alert]]:
        """Alerts as they stand, latest first; until_utc_s is when an alert cleared.

        open_only : those that still ask for a look
        limit : so many at most
        below : only those with a smaller number
        """
        if open_only and (state := self._memory()) is not None:  # the log cannot be written: it knows of no newer ones
            offset_s = state.utc_offset_s
            return [LoggedItem(a.raised_at_s + offset_s, a, None if a.cleared_at_s is None else a.cleared_at_s + offset_s)
                    for a in reversed(state.alerts)]
        where = "where state != 'normal' and id < ?" if open_only else "where id < ?"
        with self._view() as log:
            rows = log.rows("alerts", f"{where} order by id desc limit ?", (2**62 if below is None else below, limit))
            labels = log.labels
        found = []
        for row in rows:
            alert = saving.from_text(Alert, row[4])
            cleared = None if alert.cleared_at_s is None else utc_s(labels, round(alert.cleared_at_s * 1000))
            found.append(LoggedItem(utc_s(labels, round(alert.raised_at_s * 1000)), alert, cleared))
        return found

    def forecasts(self, from_utc_s: float = 0.0, to_utc_s: float = 1e12, most: int | None = None) -> list[LoggedForecast]:
        """What was foreseen, an hour apart, oldest first; the first `most` of it.

        from_utc_s, to_utc_s: the span, UTC [s]; most: at most so many, None: all.
        """
        with self._view() as log:
            rows = _between(log, "forecasts", "order by at_ms", from_utc_s, to_utc_s, most)
        found = []
        for offset, (at, reserve, low, high, probability, lowest, lowest_low, lowest_high, sun) in rows:
            at_utc = (at + offset) / 1000
            ahead = [None if t is None else at_utc + t for t in (reserve, low, high, sun)]
            found.append(LoggedForecast(at_utc, ahead[0], ahead[1], ahead[2], probability, lowest, lowest_low, lowest_high, ahead[3]))
        return found

    def gaps(self, from_utc_s: float = 0.0, to_utc_s: float = 1e12) -> list[LoggedItem[Gap]]:
        """Times in which a quantity was not measured, oldest first; until_utc_s None while it lasts."""
        with self._view() as log:
            rows = log.rows("gaps", "order by from_ms")
            labels = log.labels
        found = []
        for start, quantity, reason, until, count in rows:
            gap = Gap(quantity, reason, start / 1000, None if until is None else until / 1000, count)
            end = None if until is None else utc_s(labels, until)
            found.append(LoggedItem(utc_s(labels, start), gap, end))
        return [g for g in found if g.at_utc_s <= to_utc_s and (g.until_utc_s or 1e12) >= from_utc_s]

    def rows(self, from_utc_s: float = 0.0, to_utc_s: float = 1e12,
             damaged: Callable[[float, float], None] | None = None) -> Iterator[tuple[float, Sample]]:
        """Every reading in a span as (UTC, sample), an hour of them in memory at a time.

        damaged is told first and last moment [UTC] of each hour or row whose checksum does not fit, which is left out.

        from_utc_s, to_utc_s: the span, UTC [s]; damaged: is told of what is left out.

        Raises
        ------
        monitor.store.chunks.Damaged : there is such an hour and nobody to tell
        """
        with self._view() as log:
            labels = log.labels
            for after_ms, until_ms, _ in reading.pieces(labels, from_utc_s, to_utc_s) or ((-(2**62), 2**62, 0),):
                for hour in log.raw(after_ms, until_ms, _teller(labels, damaged)):
                    yield from self._samples_in(labels, hour, from_utc_s, to_utc_s)

    def rows_of_level(self, level: str, from_utc_s: float = 0.0, to_utc_s: float = 1e12,
                      damaged: Callable[[float, float], None] | None = None) -> Iterator[tuple[float, float, dict[str, float | None]]]:
        """Every row of minutes, quarters, hours or days in a span, as (UTC start, UTC end, values).

        damaged is told first and last moment [UTC] of what cannot be read and is left out.

        level: minutes, quarters, hours or days; from_utc_s, to_utc_s: the span, UTC [s]; damaged: is told of what is left out.
        """
        with self._view() as log:
            labels = log.labels
            tell = _teller(labels, damaged) if damaged is not None else None
            for after_ms, until_ms, _ in reading.pieces(labels, from_utc_s, to_utc_s) or ((-(2**62), 2**62, 0),):
                for end, start, *row in log.rows_of_level(level, after_ms, until_ms, damaged=tell):
                    if from_utc_s <= utc_s(labels, end) <= to_utc_s:
                        yield utc_s(labels, start), utc_s(labels, end), _unscale(row)

    def _meta(self, name: str) -> str | None:
        with self._view() as log:
            return log.meta(name)

    @staticmethod
    def _samples_in(labels: list[Span], rows: Iterable[chunks.Row], from_utc_s: float, to_utc_s: float) -> Iterator[tuple[float, Sample]]:
        for row in rows:
            at_utc = utc_s(labels, row[0])
            if from_utc_s <= at_utc <= to_utc_s:
                yield at_utc, sample_of(row)


def _between(log: View, table: str, order: str, from_utc_s: float, to_utc_s: float,
             most: int | None = None) -> list[tuple[int, tuple[Any, ...]]]:
    """(offset [ms], row) of every row in a span of UTC, or of the first `most`."""
    found: list[tuple[int, tuple[Any, ...]]] = []
    for after, until, offset in reading.pieces(log.labels, from_utc_s, to_utc_s):
        left = -1 if most is None else most - len(found)
        found += [(offset, row) for row in log.rows(table, f"where at_ms > ? and at_ms <= ? {order} limit ?", (after, until, left))]
        if most is not None and len(found) >= most:
            break
    return found


def event_of(row: tuple[Any, ...]) -> Event:
    """What happened, from a row of the table events of the log."""
    _, at_ms, kind, battery, message, figures = row
    return Event(at_ms / 1000, kind, battery, message, tuple(map(tuple, json.loads(figures))))


def _unscale(row: Sequence[int | None]) -> dict[str, float | None]:
    return {name: None if value is None else value / scale for (name, (_, scale, _)), value in zip(ROLLED.items(), row, strict=True)}


def _teller(labels: list[Span], damaged: Callable[[float, float], None] | None) -> Damaged:
    """From the line of time to UTC; raises where nobody is told."""
    def tell(table: str, first_ms: int, last_ms: int, _count: int) -> None:
        if damaged is None:
            raise chunks.Damaged(f"{table} from {first_ms / 1000:.0f} s to {last_ms / 1000:.0f} s are damaged: their checksum does not fit")
        damaged(utc_s(labels, first_ms), utc_s(labels, last_ms))

    return tell
