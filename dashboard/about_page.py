"""Page About: what is measured, how far log and clock can be trusted, and what runs here."""
from functools import cache
from importlib.metadata import PackageNotFoundError, version

from dashboard.log_view import LogView
from dashboard.words import QUANTITIES, clock_text
from monitor.reporting.sentences import number, span

DAY = 86400.0
#: A clock as unsure as this is not known at all [s].
NOBODY_KNOWS_S = 1e8
Rows = list[tuple[str, str, str]]


def lead(book: LogView) -> str:
    """How far this log can be trusted, in a sentence or two."""
    if book.now is None:
        return "The log is still empty."
    text = "This vehicle is simulated: every figure is invented. " if book.simulated else ""
    if book.now.utc_trusted:
        return text + "The clock is confirmed; times of day can be trusted."
    return text + ("The clock has not been confirmed since the last start, so times of day may be off. "
                   "Ampere-hours are not affected.")


def chapters(book: LogView) -> list[tuple[str, Rows]]:
    """What the log says about itself, as (heading, rows of label, value, note)."""
    log: Rows = [("Log file" if book.on_board else "Vehicle", book.name, "")]
    if book.now is not None:
        first, last = book.extent()
        trust = "confirmed" if book.now.utc_trusted else "not confirmed"
        log += [("Begins", clock_text(first, "%-d %b %Y, %H:%M"), ""),
                ("Latest reading", clock_text(last), book.reading_age),
                ("Covers", span(last - first), ""), ("Simulated", "yes" if book.simulated else "no", ""),
                ("Clock", trust, f"give or take {_doubt(book.now.utc_sigma_s)}")]
    return [("This log", log), ("What is measured", _measured_rows(book)), ("Not measured, last 30 days", _missing(book)),
            ("Versions", _versions() if book.on_board else [("ampledger on its board", book.board_version or "not known", ""),
                                                            *((f"{name} here", found, note) for name, found, note in _versions())])]


def _doubt(sigma_s: float) -> str:
    return "an unknown time" if sigma_s > NOBODY_KNOWS_S else "less than a second" if sigma_s < 0.5 else (
        f"{2 * sigma_s:.0f} s" if sigma_s < 60 else span(2 * sigma_s))


def _measured_rows(book: LogView) -> Rows:
    if book.now is None:
        return []
    rows: Rows = []
    sources = book.sources()
    for name, (label, unit, digits) in QUANTITIES.items():
        value, source = getattr(book.latest, name), sources.get(name, "")
        rows.append((label, f"{number(value, digits)} {unit}".strip() if value is not None else "–",
                     source if value is not None else f"no reading now; by {source}" if source
                     else "not connected"))
    return rows


def _missing(book: LogView) -> Rows:
    if book.now is None:
        return []
    end = book.now.utc_s
    sums: dict[str, list[float]] = {}
    for gap in book.gaps(end - 30 * DAY, end):
        sums.setdefault(gap.what.quantity, []).append(max((gap.until_utc_s or end) - gap.at_utc_s, 0.0))
    return [(QUANTITIES.get(name, (name.replace("_", " ") or "Everything",))[0],
             f"{len(found)} {'gap' if len(found) == 1 else 'gaps'}, {span(sum(found))}", "")
            for name, found in sorted(sums.items())]


@cache
def _versions() -> Rows:
    rows: Rows = []
    for package in ("ampledger", "flask", "waitress"):
        try:
            rows.append((package, version(package), ""))
        except PackageNotFoundError:
            rows.append((package, "not known", ""))
    return rows
