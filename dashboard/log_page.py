"""Page Log: which span is asked for, its neighbours, its days, events and gaps in words."""
import time
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from flask import abort, url_for

from dashboard.log_view import LogView
from dashboard.words import clock_text
from monitor.logbook.reader import Day, LoggedItem
from monitor.reporting.sentences import number, span

HOUR, DAY = 3600.0, 86400.0
SPANS = (("hour", "Hour"), ("day", "Day"), ("week", "Week"), ("month", "Month"), ("year", "Year"), ("all", "All"))
LENGTH_S = {"hour": HOUR, "day": DAY, "week": 7 * DAY, "month": 30 * DAY, "year": 365 * DAY}
SHORTEST_S, LONGEST_S = 60.0, 60 * 365 * DAY
#: Lines of a list that a person still reads; more days than that are put together by month.
LISTED, DAYS_LISTED = 16, 45
#: The isolator follows the engine: of two events this close only the engine's is listed [s].
TOGETHER_S = 120.0


@dataclass(frozen=True, slots=True)
class DayRow:
    """One day's, month's or the whole span's book, ready to print."""

    name: str
    sun: str
    engine: str
    other: str
    spent: str
    balance: str


def choose_span(args: Mapping[str, str], first_utc_s: float, last_utc_s: float) -> tuple[str, float, float]:
    """Name, from and to of the span asked for; a bad one is refused in words.

    args: what the address asks for; first_utc_s, last_utc_s: ends of the log, UTC [s].
    """
    if "from" in args or "to" in args:
        start, end = _moment(args.get("from", ""), "from"), _moment(args.get("to", ""), "to")
        if not SHORTEST_S <= end - start <= LONGEST_S:
            abort(400, "The end must be at least a minute after the beginning, and at most 60 years.")
        return "", start, end
    name = args.get("span", "day")
    if name not in dict(SPANS):
        abort(400, f"There is no span {name!r:.20}; choose one of {', '.join(dict(SPANS))}.")
    if name == "all":
        return name, min(first_utc_s, last_utc_s - HOUR), last_utc_s
    # No blank sheets before the book begins, yet never less than an hour.
    return name, min(max(last_utc_s - LENGTH_S[name], first_utc_s), last_utc_s - HOUR), last_utc_s


def build_log(book: LogView, args: Mapping[str, str]) -> dict[str, Any]:
    """Everything the template of page Log needs."""
    first, last = book.extent()
    name, start, end = choose_span(args, first, last)
    length = end - start
    days = book.days(start, end)
    events, gaps = event_lines(event_rows(book.events(start, end))), gap_lines(book.gaps(start, end))
    after = min(end + length, last)
    page = url_for("pages.log")
    return {
        "span": (start, end), "spans": SPANS, "chosen": name, "heading": heading(start, end),
        "figure_address": url_for("api.log_figure") + f"?from={start:.0f}&to={end:.0f}",
        "earlier": f"{page}?from={start - length:.0f}&to={start:.0f}" if start > first else "",
        "later": f"{page}?from={after - length:.0f}&to={after:.0f}" if end < last - 1 else "",
        "from_local": _field(start), "to_local": _field(end), "lines": day_rows(days),
        "total": day_row(days, f"{len(days)} days") if len(days) > 1 else None,
        "by": "month" if len(days) > DAYS_LISTED else "day",
        "events": events[:LISTED], "more_events": max(len(events) - LISTED, 0),
        "gaps": gaps[:LISTED], "more_gaps": max(len(gaps) - LISTED, 0),
    }


def event_rows(events: Sequence[LoggedItem]) -> list[LoggedItem]:
    """The events worth a line: not the weekly records, and the isolator's only where the engine does not explain them."""
    events = [e for e in events if e.what.kind != "battery_week"]
    engine = [e.at_utc_s for e in events if e.what.kind.startswith("engine")]
    return [e for e in events if e.what.kind not in ("isolator_open", "isolator_closed")
            or not any(abs(e.at_utc_s - t) < TOGETHER_S for t in engine)]


def heading(start_utc_s: float, end_utc_s: float) -> str:
    """The span in words, no longer than it needs to be."""
    if end_utc_s - start_utc_s <= DAY / 2 and clock_text(start_utc_s, "%-d") == clock_text(end_utc_s, "%-d"):
        return f"{clock_text(start_utc_s)} to {clock_text(end_utc_s, '%H:%M')}"
    if end_utc_s - start_utc_s <= 3 * DAY:
        return f"{clock_text(start_utc_s)} to {clock_text(end_utc_s)}"
    same_year = clock_text(start_utc_s, "%Y") == clock_text(end_utc_s, "%Y")
    return f"{clock_text(start_utc_s, '%-d %b' if same_year else '%-d %b %Y')} to {clock_text(end_utc_s, '%-d %b %Y')}"


def event_lines(events: Sequence[LoggedItem]) -> list[tuple[str, str, str]]:
    """Each message once, the latest first, as (when it was last, message, how often more)."""
    counts = Counter(e.what.message for e in events)
    latest = {e.what.message: e.at_utc_s for e in events}
    return [(clock_text(at), message, "" if counts[message] == 1 else f"{counts[message]} times in this span")
            for message, at in sorted(latest.items(), key=lambda pair: -pair[1])]


def gap_lines(gaps: Sequence[LoggedItem]) -> list[tuple[str, str, str]]:
    """What was not measured, the latest first, quantities lost together in one line."""
    lines: dict[tuple, list[str]] = {}
    for gap in reversed(gaps):
        what = gap.what.quantity.rpartition("_")[0].replace("_", " ") or gap.what.quantity or "everything"
        length = "still" if gap.until_utc_s is None else span(gap.until_utc_s - gap.at_utc_s)
        lines.setdefault((clock_text(gap.at_utc_s), gap.what.reason, length), []).append(what)
    return [(at, f"{', '.join(sorted(set(what)))}: {reason}", length) for (at, reason, length), what in lines.items()]


def day_rows(days: Sequence[Day]) -> list[DayRow]:
    """The latest first; by day, or by month where the days would be too many to read."""
    if len(days) <= DAYS_LISTED:
        return [day_row([day], clock_text(_middle(day), "%a %-d %b")) for day in reversed(days)]
    months = groupby(reversed(days), key=lambda day: clock_text(_middle(day), "%b %Y"))
    return [day_row(list(some), name) for name, some in months]


def day_row(days: Sequence[Day], name: str) -> DayRow:
    """The sum of some days."""
    sun, engine, other, spent = (
        sum(day.values.get(column) or 0.0 for day in days)
        for column in ("sun_ah", "alternator_ah", "other_ah", "charge_out_ah"))
    return DayRow(name, *(number(ah, 1 if abs(ah) < 100 else 0)
                            for ah in (sun, engine, other, spent, sun + engine + other - spent)))


def _middle(day: Day) -> float:
    return (day.start_utc_s + day.end_utc_s) / 2


def _moment(text: str, field: str) -> float:
    """Seconds since 1970 from a link's number or a form's local date."""
    try:
        value = float(text)
    except ValueError:
        try:
            value = datetime.fromisoformat(text).timestamp()
        except (ValueError, OverflowError, OSError):
            abort(400, f"{field}={text!r:.40} is not a moment; write it like 2026-06-21T18:00.")
    if not 0 <= value <= 4 * LONGEST_S:    # also refuses what is not a number, and infinity
        abort(400, f"{field}={text!r:.40} is outside of what a log can hold.")
    return value


def _field(utc_s: float) -> str:
    return time.strftime("%Y-%m-%dT%H:%M", time.localtime(utc_s))
