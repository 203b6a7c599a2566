"""The same figures as JSON, and the drawings' data."""
import json
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, fields
from typing import Any, TypeVar

from flask import Blueprint, Response, abort, request

from dashboard import figures, log_page
from dashboard import log_view as books
from dashboard.charts import Figure
from dashboard.openapi import DESCRIPTION
from dashboard.palette import PALETTES, Palette
from monitor.reporting.state import describe_state

api = Blueprint("api", __name__, url_prefix="/api/v1")
FEWEST, MOST, USUAL = 10, 2000, 600
#: Rows in one answer: usually, and at most; and so many more are looked at, for those that happened at one moment.
USUAL_ROWS, MOST_ROWS, TOGETHER = 500, 1000, 200
Row = TypeVar("Row")
#: A list of so many values is written out by itself; what stands for it meanwhile: a separator that no text has, and its number.
SHORT, STUB = 16, re.compile(r'"\\u001f([0-9]+)"')


@api.get("/openapi.json")
def openapi() -> Response:
    """The description of everything here, OpenAPI 3.1."""
    return _json(DESCRIPTION)


@api.get("/now")
def now() -> Response:
    """Latest readings and everything concluded from them."""
    book = books.open_log_view()
    found = book.findings
    if found is None:
        return _json({"empty": True, "simulated": book.simulated})
    return _json({
        "empty": False, "simulated": book.simulated, "stale": bool(book.stale), "at_utc_s": book.utc_of(book.at_s),
        "clock_trusted": book.known.utc_trusted, "open_alerts": book.holding,
    } | describe_state(found, book.latest, book.known.vehicle, book.issued_hour))


@api.get("/series")
def series() -> Response:
    """Charge, current and voltages over a span, thinned to a number of points."""
    book = books.open_log_view()
    start, end = _span(book)
    rows = book.columns(start, end, _points())
    return _json({"from_utc_s": start, "to_utc_s": end} | {f.name: getattr(rows, f.name) for f in fields(rows)})


@api.get("/days")
def days() -> Response:
    """The daily books of a span, oldest first."""
    book = books.open_log_view()
    return _page("days", book.days(*_span(book)), lambda d: d.start_utc_s,
                 lambda d: {"start_utc_s": d.start_utc_s, "end_utc_s": d.end_utc_s} | d.values)


@api.get("/events")
def events() -> Response:
    """What happened in a span."""
    book = books.open_log_view()
    return _page("events", book.events(*_rest(book), most=_limit() + TOGETHER), lambda e: e.at_utc_s, lambda e: {
        "at_utc_s": e.at_utc_s, "kind": e.what.kind, "battery": e.what.battery, "message": e.what.message,
        "figures": dict(e.what.figures)})


@api.get("/gaps")
def gaps() -> Response:
    """What was not measured in a span, and why."""
    book = books.open_log_view()
    return _page("gaps", book.gaps(*_span(book)), lambda g: g.at_utc_s, lambda g: {
        "from_utc_s": g.at_utc_s, "to_utc_s": g.until_utc_s, "quantity": g.what.quantity, "reason": g.what.reason, "count": g.what.count})


@api.get("/forecasts")
def forecasts() -> Response:
    """What was foreseen, hour by hour, in a span."""
    book = books.open_log_view()
    return _page("forecasts", book.forecasts(*_rest(book), most=_limit() + TOGETHER), lambda row: row.at_utc_s, asdict)


@api.get("/alerts")
def alerts() -> Response:
    """Alerts, newest first; with open=yes only those that still ask for a look. The number of the last one leads on."""
    wanted = request.args.get("open", "no")
    if wanted not in ("yes", "no"):
        abort(400, f"open={wanted!r:.20} is neither yes nor no.")
    book, limit, after = books.open_log_view(), _limit(), _after()
    found = [a for a in book.open_alerts if after is None or a.what.id < after] if wanted == "yes" else (
        book.alerts(limit + 1, None if after is None else math.ceil(after)))
    return _json({"alerts": [_alert(book, a) for a in found[:limit]], "next": found[limit - 1].what.id if len(found) > limit else None})


def _alert(book, logged) -> dict:
    alert = logged.what
    told = {name: getattr(alert, name) for name in (
        "id", "kind", "battery", "priority", "state", "open", "seen", "means", "evidence", "look_first", "clears_when", "count")}
    return told | {
        "raised_utc_s": logged.at_utc_s, "cleared_utc_s": logged.until_utc_s,
        "acknowledged_utc_s": book.utc_of(alert.acknowledged_at_s), "acknowledged_by": alert.acknowledged_by,
        "shelved_until_utc_s": book.utc_of(alert.shelved_until_s),
        "figures": dict(alert.figures)}


@api.get("/figures/log")
def log_figure() -> Response:
    """The drawing of page Log."""
    book = books.open_log_view()
    return _figure(figures.draw_log(book, *_span(book), _points(), _ink()))


@api.get("/figures/tonight")
def tonight_figure() -> Response:
    """The drawing of page Tonight."""
    found = figures.draw_tonight(books.open_log_view(), _ink())
    if found is None:
        abort(404, "There is no forecast yet.")
    return _figure(found)


@api.get("/figures/starter")
def starter_figure() -> Response:
    """The drawing of page Starter: the last week."""
    return _figure(figures.draw_starter(books.open_log_view(), _points(), _ink()))


@api.get("/figures/health")
def health_figure() -> Response:
    """The drawing of page Health: every week on record."""
    found = figures.draw_health(books.open_log_view(), _ink())
    if found is None:
        abort(404, "Nothing is known of a battery yet.")
    return _figure(found)


@api.get("/weeks")
def weeks() -> Response:
    """Every week of the house battery on record, oldest first."""
    return _page("weeks", books.open_log_view().weeks(), lambda row: row[0], lambda row: {"ended_utc_s": row[0]} | asdict(row[1]))


def _span(book) -> tuple[float, float]:
    first, last = book.extent()
    _, start, end = log_page.choose_span(request.args, first, last)
    return start, end


def _rest(book) -> tuple[float, float]:
    """The span from where the page before it ended."""
    start, end = _span(book)
    after = _after()
    return (start if after is None else max(start, after)), end


def _limit() -> int:
    text = request.args.get("limit", str(USUAL_ROWS))
    if not (text.isascii() and text.isdecimal()) or len(text) > 6 or not 1 <= int(text) <= MOST_ROWS:
        abort(400, f"limit={text!r:.20} must be a whole number from 1 to {MOST_ROWS}.")
    return int(text)


def _after() -> float | None:
    text = request.args.get("after")
    if text is None:
        return None
    try:
        found = float(text) if len(text) < 40 else math.nan
    except ValueError:
        found = math.nan
    if not math.isfinite(found) or abs(found) > 1e15:
        abort(400, f"after={text!r:.20} must be what `next` said in the page before.")
    return found


def _page(name: str, rows: Sequence[Row], moment: Callable[[Row], float], plain: Callable[[Row], dict[str, Any]]) -> Response:
    """A page of rows, which are in order of their moments, and where the next one goes on; null at the end.

    Rows of one moment are never parted, so a page may hold a few more than `limit`.
    """
    limit, after = _limit(), _after()
    rest = [row for row in rows if after is None or moment(row) > after]
    end = limit
    while end < len(rest) and moment(rest[end]) == moment(rest[end - 1]):
        end += 1
    return _json({name: [plain(row) for row in rest[:end]], "next": moment(rest[end - 1]) if end < len(rest) else None})


def _points() -> int:
    text = request.args.get("points", str(USUAL))
    if not (text.isascii() and text.isdecimal()) or len(text) > 6 or not FEWEST <= int(text) <= MOST:
        abort(400, f"points={text!r:.20} must be a whole number from {FEWEST} to {MOST}.")
    return int(text)


def _ink() -> Palette:
    name = request.args.get("ink", "day")
    if name not in PALETTES:
        abort(400, f"ink={name!r:.20} must be day or night.")
    return PALETTES[name]




def _figure(figure: Figure) -> Response:
    """A figure as JSON. Lists that several traces share, the times above all, are written out once."""
    long: dict[int, list[Any]] = {}

    def stub(value: Any) -> Any:
        if not isinstance(value, list) or len(value) < SHORT:
            return value
        long[id(value)] = value
        return f"\x1f{id(value)}"

    short = _text({"data": [{name: stub(value) for name, value in trace.items()} for trace in figure["data"]],
                   "layout": figure["layout"]})
    written = {str(number): _text(value) for number, value in long.items()}
    return Response(STUB.sub(lambda found: written.get(found[1], found[0]), short), mimetype="application/json")


def _text(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"), allow_nan=False)


def _json(value) -> Response:
    return Response(_text(value), mimetype="application/json")
