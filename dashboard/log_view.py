"""The log as one request sees it: read when asked for, failures put into words."""
import sqlite3
import time
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

from flask import current_app, g, request

from dashboard.kept_answers import Ended, MemoizedAnswers, signature_of, stamp_of
from dashboard.log_chart import Columns
from dashboard.words import age_words, clock_text, local_hour
from monitor.battery.label import Vehicle
from monitor.findings import Event
from monitor.guides.wiring_plan import Wiring
from monitor.logbook.reader import Alert, Day, Entry, Gap, LatestMinute, LoggedForecast, LoggedItem, NoLog, Reader, live_file_of
from monitor.pipeline import Findings
from monitor.planning import battery_life, parked_return
from monitor.reporting import alert_view, care
from monitor.reporting.sentences import span
from monitor.sample import Sample
from monitor.wear.battery_history import BatteryHistory
from monitor.wear.watched_test import WatchedTest, describe_progress
from monitor.wear.week import WEEK_EVENT, Week

#: Older than this, the newest reading is called old: the longest time a batch may wait, and a minute.
STALE_S = 960.0
#: A day of the log that begins within so long of today's count is today [s]: both begin with the first minute after midnight.
TODAY_S = 120.0
T = TypeVar("T")


class NoLogView(Exception):
    """The log cannot be read: what is wrong, and what to do."""

    def __init__(self, heading: str, text: str, *todo: str) -> None:
        super().__init__(heading)
        self.heading, self.text, self.todo = heading, text, todo


class LogView:
    """One log for the length of one request. Every question may raise NoLogView."""

    #: Whether this is the vehicle's own board, where something can be done, and not a collection of many vehicles' rows.
    on_board = True
    #: What the vehicle's own board runs, where that is another machine.
    board_version = ""

    def __init__(self, database: Path, kept: MemoizedAnswers | None = None) -> None:
        self._reader = Reader(database)
        self._database = database
        self._kept = kept or MemoizedAnswers()
        #: seen before the log was opened, so that no answer is kept as later than it is
        self._signature = signature_of(database)
        self._open = ExitStack()
        self._shares = False
        self._together: Reader | None = None
        self._spans: dict[tuple[str, float, float], Any] = {}

    @property
    def name(self) -> str:
        """The file's name, without the folders it lies in: those are nobody's business on the network."""
        return self._database.name

    @cached_property
    def now(self) -> LatestMinute | None:
        """The latest that is known, None while the log is empty."""
        return self._ask_once("now", lambda reader: reader.now())

    @property
    def findings(self) -> Findings | None:
        return self.now.findings if self.now else None

    @property
    def known(self) -> LatestMinute:
        """The latest minute, for what is shown only once there is one. Raises NoLogView while there is none."""
        if self.now is None:
            raise NoLogView("The log is still empty.", "The log is still empty, or its latest figures cannot be read.",
                            "Come back after the first minutes.")
        return self.now

    @property
    def latest(self) -> Sample:
        return self.now.sample if self.now and self.now.sample else Sample(0.0)

    @property
    def vehicle(self) -> Vehicle | None:
        return self.now.vehicle if self.now else None

    @property
    def simulated(self) -> bool:
        """Whether nothing of it is real; told before the first minute too, and where the findings are damaged."""
        return self._ask_once("simulated", lambda reader: reader.is_simulated())

    @property
    def relearning(self) -> float | None:
        """How far the daemon is in learning from the log again [0..1]; None where it is not at it."""
        return self._ask_once("relearning", lambda reader: reader.relearning())

    @property
    def entries(self) -> tuple[Entry, ...]:
        """What the owner told, the latest first."""
        return self._ask_once("entries", lambda reader: reader.entries().rows[::-1])

    @property
    def unsure(self) -> bool:
        """Whether nobody has said so far what time it is."""
        return bool(self.now and not self.now.simulated and not self.now.utc_trusted)

    @property
    def at_s(self) -> float:
        return self.now.at_s if self.now else 0.0

    @property
    def hour(self) -> float | None:
        """Local clock hour of the latest findings, None where no clock is trusted."""
        return local_hour(self.now.utc_s) if self.now and self.now.utc_trusted else None

    @property
    def issued_hour(self) -> float | None:
        """Local clock hour from which the forecast's times count: when it was made, some minutes ago. None where no clock is trusted."""
        issued = self.utc_of(self.findings.forecast.issued_s) if self.findings else None
        return local_hour(issued) if issued is not None and self.now is not None and self.now.utc_trusted else None

    @property
    def folio(self) -> str:
        """The heading of the day's sheet."""
        if not self.now:
            return ""
        text = clock_text(self.now.utc_s)
        return text if self.now.utc_trusted else f"{text}, clock not confirmed"

    @property
    def reading_age(self) -> str:
        return age_words(self._age_s)

    @cached_property
    def stale(self) -> str:
        """A sentence where the newest reading is old, else nothing."""
        if not self.now or self._age_s < STALE_S:
            return ""
        return (f"The newest reading is {span(self._age_s)} old ({clock_text(self.now.utc_s)}). "
                "See whether the monitor runs: systemctl status ampledger.")

    @cached_property
    def _age_s(self) -> float:
        """Seconds since the log was last written."""
        return self._reader.age_s(self.now)

    @cached_property
    def open_alerts(self) -> list[LoggedItem[Alert]]:
        return self._live(self._ask_once("open alerts", lambda reader: reader.alerts(open_only=True)))

    def _live(self, logged: list[LoggedItem[Alert]]) -> list[LoggedItem[Alert]]:
        """Alerts that hold, in the words and figures of now."""
        conditions = self.findings.conditions if self.findings else ()
        return [replace(one, what=alert_view.in_todays_words(one.what, conditions)) for one in logged]

    @property
    def holding(self) -> int:
        """How many alerts hold right now, seen or not; those that cleared by themselves are not among them."""
        return sum(logged.what.state != "returned" for logged in self.open_alerts)

    @property
    def asking(self) -> int:
        """How many alerts are there right now and not put aside."""
        return sum(a.state != "returned" and (a.shelved_until_s or 0.0) <= self.at_s
                   for a in (logged.what for logged in self.open_alerts))

    def alerts(self, limit: int = 200, below: int | None = None) -> list[LoggedItem]:
        """All alerts, latest first; of those with a smaller number than below, so many."""
        return self._live(self._ask(lambda reader: reader.alerts(limit=limit, below=below), self.open_alerts))

    def utc_of(self, at_s: float | None) -> float | None:
        """UTC of a recent moment of the log's line of time."""
        return None if at_s is None or self.now is None else self.now.utc_s + at_s - self.now.at_s

    def when(self, at_s: float) -> str:
        """A recent moment of the log's line of time in words."""
        utc_s = self.utc_of(at_s)
        return "" if utc_s is None else clock_text(utc_s)

    def sources(self) -> dict[str, str]:
        """Quantity -> the instrument that measures it."""
        return self._ask_once("sources", lambda reader: reader.sources())

    def hours(self, from_utc_s: float) -> list[parked_return.Hour]:
        """Every hour since a moment, oldest first."""
        return self._growing("hours", from_utc_s, lambda reader, since_s: parked_return.hours_of(reader.rows_of_level("hours", since_s)))

    def care(self, from_utc_s: float) -> list[care.CareHour]:
        """Voltage and temperature of every hour since a moment, oldest first."""
        return self._growing("care", from_utc_s, lambda reader, since_s: [
            care.CareHour(start, end, v.get("house_voltage_v"), v.get("house_temperature_c"))
            for start, end, v in reader.rows_of_level("hours", since_s)])

    def last_full_utc_s(self) -> float | None:
        """When the house battery was last seen full; None where the log has no full charge."""
        return self._ask_once("full", lambda reader: reader.latest_of("full_charge"))

    def life(self) -> battery_life.LifeReport:
        """Years left of the house battery, worked out here and now: some seconds on a small board."""
        return self._ask_once("life", battery_life.work_out_life)

    @property
    def years_described(self) -> dict[str, Any] | None:
        """The same in words, where a collector works it out beside the pages; None where that is not so, or not done yet."""
        return None

    def wiring(self) -> Wiring:
        """What the configuration says of the wiring."""
        return self._ask_once("wiring", lambda reader: reader.wiring())

    @property
    def empty(self) -> bool:
        """Whether not one minute has been written yet."""
        return self._ask_once("span", lambda reader: reader.span()) is None

    def extent(self) -> tuple[float, float]:
        """UTC of the first and the last minute; now, twice, while the log is empty."""
        return self._ask_once("span", lambda reader: reader.span()) or (time.time(),) * 2

    def columns(self, from_utc_s: float, to_utc_s: float, points: int) -> Columns:
        """Charge, current and voltages over a span.

        from_utc_s, to_utc_s: the span, UTC [s]; points: about so many rows.
        """
        names = tuple(name for name in Columns.__slots__ if name != "at_utc_s")
        none: dict[str, list[float | None]] = {name: [] for name in Columns.__slots__}
        found: dict[str, Any] = self._ask(lambda reader: reader.series(from_utc_s, to_utc_s, points, names).columns, none)
        return Columns(**found)

    def days(self, from_utc_s: float, to_utc_s: float) -> list[Day]:
        """The books of the days that touch a span, oldest first."""
        count = min(int((self.extent()[1] - from_utc_s) / 86400) + 2, 40_000)
        return [d for d in map(self._up_to_date, self._ask(lambda reader: reader.days(max(count, 1))))
                if d.end_utc_s > from_utc_s and d.start_utc_s < to_utc_s]

    def _up_to_date(self, day: Day) -> Day:
        """A day of the log; today's is written now and then, and is shown as every other page shows it: by the latest minute."""
        counts = self.findings.counts if self.findings else None
        begins = self.utc_of(counts.today.start_s) if counts is not None and not counts.because else None
        if counts is None or begins is None or self.now is None or abs(day.start_utc_s - begins) > TODAY_S:
            return day
        today = counts.today
        return replace(day, end_utc_s=max(day.end_utc_s, self.now.utc_s), values=day.values | {
            "sun_ah": today.sun_ah, "alternator_ah": today.alternator_ah, "other_ah": today.other_ah, "charge_in_ah": today.received_ah,
            "charge_out_ah": today.spent_ah, "energy_in_wh": today.received_wh, "energy_out_wh": today.spent_wh, "gap_s": today.gap_s,
            "covered_s": today.seen_s})

    def weeks(self) -> list[tuple[float, Week]]:
        """Every week of the house battery on record, as (UTC of its end, record), oldest first."""
        return self._ask_once("weeks", lambda reader: self._kept.while_same(
            "weeks", (stamp_of(self._signature, reader), reader.latest_of(WEEK_EVENT)), reader.weeks))

    @property
    def lives(self) -> BatteryHistory:
        """The batteries that were told of."""
        return self._ask_once("lives", lambda reader: reader.lives())

    @property
    def capacity_test(self) -> WatchedTest | None:
        """The latest capacity test that somebody asked for."""
        return self._ask_once("capacity test", lambda reader: reader.capacity_test())

    @property
    def channels(self) -> tuple[str, ...]:
        """By what alerts go out; none where the log does not tell."""
        return tuple((self._ask_once("channels", lambda reader: reader.meta("channels")) or "").split())

    @property
    def testing(self) -> str:
        """Where a capacity test stands that waits or runs; "" where there is none, or the log cannot be read."""
        try:
            return describe_progress(self.capacity_test)
        except NoLogView:
            return ""

    def capacity_tests(self) -> list[LoggedItem[Event]]:
        """Every capacity test, oldest first."""
        return self._ask_once("tests", lambda reader: reader.events_of("capacity_test"))

    def quarters(self, from_utc_s: float) -> list[tuple[float, float, dict]]:
        """Every quarter of an hour since a moment, as (UTC start, UTC end, values)."""
        return self._ask(lambda reader: list(reader.rows_of_level("quarters", from_utc_s)))

    def readings(self, from_utc_s: float, to_utc_s: float) -> list[tuple[float, Sample]]:
        """Every reading of a short span, as (UTC, readings); damaged ones are left out."""
        return self._ask(lambda reader: list(reader.rows(from_utc_s, to_utc_s, lambda *_: None)))

    def events(self, from_utc_s: float, to_utc_s: float, most: int | None = None) -> list[LoggedItem[Event]]:
        """Events of a span, oldest first; none where the log cannot be read.

        from_utc_s, to_utc_s: the span, UTC [s]; most: at most so many, None: all.
        """
        if most is not None:
            return self._ask(lambda reader: reader.events(from_utc_s, to_utc_s, most), [])
        return self._of_span("events", from_utc_s, to_utc_s, lambda reader: reader.events(from_utc_s, to_utc_s))

    def gaps(self, from_utc_s: float, to_utc_s: float) -> list[LoggedItem[Gap]]:
        return self._of_span("gaps", from_utc_s, to_utc_s, lambda reader: reader.gaps(from_utc_s, to_utc_s))

    def forecasts(self, from_utc_s: float, to_utc_s: float, most: int | None = None) -> list[LoggedForecast]:
        """What was foreseen in a span, oldest first; none where the log cannot be read.

        from_utc_s, to_utc_s: the span, UTC [s]; most: at most so many, None: all.
        """
        return self._ask(lambda reader: reader.forecasts(from_utc_s, to_utc_s, most), [])

    def share(self) -> None:
        """Lets all that is asked until `close` be answered by one moment of the log, opened once: for a page, done in milliseconds."""
        self._shares = True

    def close(self) -> None:
        """Lets go of the log."""
        self._together, self._shares = None, False
        self._open.close()

    def _of_span(self, name: str, from_utc_s: float, to_utc_s: float, question: Callable[[Reader], list[T]]) -> list[T]:
        """What the log has of a span, read once in a request; none where it cannot be read.

        name: what it is; from_utc_s, to_utc_s: the span, UTC [s]; question: reads it.
        """
        key = (name, from_utc_s, to_utc_s)
        if key not in self._spans:
            found: list[T] = self._ask(question, list[T]())
            self._spans[key] = found
        return self._spans[key]  # type: ignore[no-any-return]

    def _growing(self, name: str, from_utc_s: float, read: Callable[[Reader, float], list[Ended]]) -> list[Ended]:
        """What ends after a moment, kept from one minute to the next.

        name: what it is kept under; from_utc_s: since when, UTC [s]; read: it, since a moment.
        """
        return self._ask_once(name, lambda reader: self._kept.growing(
            name, stamp_of(self._signature, reader), from_utc_s, lambda since_s: read(reader, since_s)))

    def _ask_once(self, name: str, question: Callable[[Reader], T]) -> T:
        return self._kept.get(self._signature, name, lambda: self._ask(question))

    def _ask(self, question: Callable[[Reader], T], without: T | None = None) -> T:
        """The answer. Where the log cannot be read and the daemon shows what it knows from memory: `without`, if given."""
        try:
            if self._shares and self._together is None:
                with suppress(NoLog, sqlite3.DatabaseError, OSError):  # each question says so again in its own way
                    self._together = self._open.enter_context(self._reader.together())
            return question(self._together or self._reader)
        except (NoLog, sqlite3.DatabaseError, ValueError, OSError) as error:
            if without is not None and (file := live_file_of(self._database)) is not None and file.exists():
                return without
            if isinstance(error, NoLog):
                raise NoLogView("There is no log to show.", f"{error}.") from error
            raise _unreadable(self._database, error) from error


def open_log_view() -> LogView:
    """The book of this request."""
    if "book" not in g:
        opener = current_app.config.get("OPEN_LOG")  # where the rows are not in a log of this machine
        g.book = opener() if opener else LogView(current_app.config["DATABASE"], current_app.extensions["kept"])
        if request.method == "GET":
            g.book.share()
    return g.book


def open_if_readable() -> LogView | None:
    """The same, None where it cannot be read: for pages that are wanted most when everything else has failed."""
    try:
        book = open_log_view()
        _ = book.now, book.simulated, book.open_alerts, book.stale
    except NoLogView:
        return None
    return book


def close_log_view(_: BaseException | None = None) -> None:
    """Lets go of the log at the end of a request."""
    if "book" in g:
        g.book.close()


def _unreadable(database: Path, error: Exception) -> NoLogView:
    name = getattr(error, "sqlite_errorname", "")
    if name in ("SQLITE_BUSY", "SQLITE_LOCKED"):
        return NoLogView("The log is busy.", "Something holds it for longer than it should. Load this page again soon.")
    out_of_reach = ("SQLITE_CANTOPEN", "SQLITE_IOERR", "SQLITE_PERM", "SQLITE_READONLY")
    if isinstance(error, OSError) or name.startswith(out_of_reach):
        return NoLogView(
            "The log cannot be opened.", f"{database}: {error}.",
            "See that the card is not full or read-only: df -h, dmesg",
            "See that the dashboard's user may read the file and write its folder (a reader of a live log needs both)",
            "Let it be looked over: ampledger doctor")
    return NoLogView(
        "The log is damaged.", f"{database}: {error}. Nothing was deleted; readings go on if the monitor runs.",
        "Let it be looked over: ampledger doctor", "Or go back to the latest copy: ampledger restore",
        "Then see why: a worn card, or power cut while writing")

