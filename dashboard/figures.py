"""The figures of the pages out of the log: for a picture on the page, and for the drawing that a hand can zoom."""
from dashboard import health_chart, lives_table, log_chart, log_page, tonight_chart
from dashboard.charts import Figure
from dashboard.log_view import LogView
from dashboard.palette import Palette
from dashboard.words import local_ms

DAY = 86400.0
#: Moments of a picture that nobody zooms; the drawing of the library has as many as the screen shows.
POINTS = 240
HEALTH_PX = 620
EVENTS = 80


def draw_log(book: LogView, start: float, end: float, points: int, palette: Palette) -> Figure:
    """Page Log: any span.

    book: the log as the pages read it; start, end: the span [UTC seconds]; points: so many moments; palette: its colours.
    """
    events = [(e.at_utc_s, e.what.message) for e in log_page.event_rows(book.events(start, end))][-EVENTS:]
    return log_chart.figure(book.columns(start, end, points), events, _holes(book, start, end), start, end, _reserve_frac(book),
                            local_ms, palette)


def draw_tonight(book: LogView, palette: Palette) -> Figure | None:
    """Page Tonight: the coming 36 hours; None while there is no forecast."""
    found = book.findings
    issued = None if found is None else book.utc_of(found.forecast.issued_s)
    if found is None or issued is None:
        return None
    rows = book.columns(issued - DAY / 2, issued, 48)
    return tonight_chart.figure(found.forecast, found.charge, issued, _reserve_frac(book), _nights(book, issued),
                                list(zip(rows.at_utc_s, rows.charge_frac, strict=True)), local_ms, palette)


def draw_starter(book: LogView, points: int, palette: Palette) -> Figure:
    """Page Starter: the last week.

    book: the log as the pages read it; points: so many moments; palette: its colours.
    """
    _, end = book.extent()
    start = end - 7 * DAY
    return log_chart.starter_figure(book.columns(start, end, points), _holes(book, start, end), local_ms, palette)


def draw_health(book: LogView, palette: Palette) -> Figure | None:
    """Page Health: every week on record; None while nothing is known of a battery."""
    if book.vehicle is None:
        return None
    return health_chart.weeks_figure(book.weeks(), lives_table.replaced_utc_s(book), book.vehicle.house.rated_capacity_ah, local_ms,
                                     palette, HEALTH_PX)


def _holes(book: LogView, start: float, end: float) -> list[tuple[float, float]]:
    """Spans in which the house current was not measured: the ones that widen every figure."""
    return [(g.at_utc_s, end if g.until_utc_s is None else g.until_utc_s)
            for g in book.gaps(start, end) if g.what.quantity in ("", "house_current_a")][:200]


def _nights(book: LogView, utc_s: float) -> tuple[tuple[float, float], ...]:
    """By the place where it and the clock are known, else by what the log taught, else none."""
    vehicle, loads = book.known.vehicle, book.known.findings.loads
    if vehicle.latitude_deg is not None and vehicle.longitude_deg is not None and book.known.utc_trusted:
        return tonight_chart.nights_at(utc_s, vehicle.latitude_deg, vehicle.longitude_deg)
    return tonight_chart.nights(loads.solar_hour, loads.sun_rises_solar_hour, loads.sun_leaves_solar_hour)


def _reserve_frac(book: LogView) -> float:
    return book.vehicle.house.reserve_soc_frac if book.vehicle else 0.0
