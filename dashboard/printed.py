"""python -m dashboard.printed: the report for the workshop, one HTML file that needs nothing else."""
import base64
import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import click
from jinja2 import Environment, PackageLoader, StrictUndefined

from dashboard import health_chart, health_page, lives_table, printed_whatif, worst_nights
from dashboard.charts import Figure
from dashboard.log_view import LogView, NoLogView
from dashboard.palette import DAY, Palette
from dashboard.words import clock_text, local_hour, local_ms
from monitor.reporting import life_words, sentences
from monitor.reporting.sentences import number, span
from monitor.store.all_or_nothing import write_text

STATIC = Path(__file__).parent / "static"
#: What the file embeds, and the licence that goes with it.
LICENCES = (("Plotly", "plotly/LICENSE"), ("Packages within Plotly", "plotly/NOTICES"), ("Besley", "type/LICENSE"))
#: Ink on white paper.
PAPER: Palette = replace(DAY, sheet="#ffffff")
DAY_S, WEEK_S = 86400.0, 7 * 86400.0
#: Days drawn one by one; a longer log is drawn by weeks. Nights and alerts that are listed.
DAYS_DRAWN, NIGHTS, ALERTS = 45, 5, 12
#: The worst nights are looked for so far back [s].
NIGHTS_S = 400 * DAY_S


@click.command()
@click.option("--database", required=True, type=click.Path(path_type=Path, dir_okay=False), help="The log to report on.")
@click.option("--output", "-o", required=True, type=click.Path(path_type=Path, dir_okay=False), help="File to write.")
@click.option("--with", "candidates", multiple=True, help="A set-up to weigh against today's, as `ampledger whatif` takes it.")
def main(database: Path, output: Path, candidates: tuple[str, ...]) -> None:
    """Write one HTML file about the house battery: verdict, evidence, its weeks, use, nights, alerts, sources."""
    try:
        text = html(LogView(database), candidates)
    except NoLogView as error:
        raise click.ClickException(f"{error.text} {' '.join(error.todo)}".strip()) from error
    try:
        write_text(output, text)
    except OSError as error:
        raise click.ClickException(f"{output}: {error.strerror}") from error
    click.echo(f"{output} is written ({len(text) / 1e6:.1f} MB); it needs no network. Print it from the browser.")


def html(book: LogView, candidates: Sequence[str] = ()) -> str:
    """The report on a log. Raises NoBook where there is nothing to report on."""
    if book.findings is None:
        raise NoLogView("The log is still empty.", "The log is still empty, or its latest figures cannot be read.",
                     "Come back after the first minutes.")
    pages = Environment(loader=PackageLoader("dashboard"), autoescape=True, undefined=StrictUndefined,
                        trim_blocks=True, lstrip_blocks=True)
    pages.filters["capfirst"] = sentences.capitalise
    pages.globals.update(figure=sentences.figure, number=number, span=span)
    figures, whatif = _figures(book), printed_whatif.weigh_candidates(book, candidates)
    return pages.get_template("printed.html").render(
        book=book, f=book.findings, vehicle=book.vehicle, made=clock_text(book.known.utc_s, "%-d %b %Y, %H:%M"),
        style=(STATIC / "printed.css").read_text(), face=_face(), plotly=_inline((STATIC / "plotly" / "plotly-basic.min.js").read_text()),
        draw=(STATIC / "printed.js").read_text(), figures=_inline(json.dumps(figures, allow_nan=False)),
        drawn=set(figures), licences=[(name, (STATIC / file).read_text()) for name, file in LICENCES],
        young=_young(book), extent=_extent(book), nights=_nights(book), night_count=NIGHTS,
        months=_months(book), alerts=_alerts(book), more_alerts=max(len(book.alerts()) - ALERTS, 0),
        usual=_usual(book), whatif=whatif, life=life_words.list_rows(book.life()), life_method=life_words.METHOD,
        **health_page.build_health(book))


def _figures(book: LogView) -> dict[str, Figure]:
    """The drawings by the name of their place; one that has nothing to show is left out."""
    weeks, health = book.weeks(), book.known.findings.health
    found = {}
    if weeks:
        found["weeks"] = health_chart.weeks_figure(weeks, lives_table.replaced_utc_s(book), book.known.vehicle.house.rated_capacity_ah,
                                                   local_ms, PAPER)
    if sum(health.depth_counts) >= 0.5:
        found["depths"] = health_chart.depth_figure(health.depth_counts, PAPER)
    days = book.days(*book.extent())
    if len(days) >= 2:
        width_s = DAY_S if len(days) <= DAYS_DRAWN else WEEK_S
        groups = _group_days(days, width_s)
        sun, engine, other, spent = ([sum(d.values[name] or 0.0 for d in group) for group in groups]
                                     for name in ("sun_ah", "alternator_ah", "other_ah", "charge_out_ah"))
        middles = [(group[0].start_utc_s + group[-1].end_utc_s) / 2 for group in groups]
        found["sources"] = health_chart.sources_figure(middles, sun, engine, other, spent, width_s, local_ms, PAPER)
    return found


def _group_days(days: Sequence, width_s: float) -> list[list]:
    """Days one by one, or seven at a time; a rest of fewer than seven at the end is left out."""
    if width_s <= DAY_S:
        return [[day] for day in days]
    return [list(days[i:i + 7]) for i in range(0, len(days) - 6, 7)]


def _months(book: LogView) -> list[tuple[str, ...]]:
    """Received by source and spent, by calendar month: (month, sun, engine, other, spent, days)."""
    sums: dict[str, list[float]] = {}
    for day in book.days(*book.extent()):
        row = sums.setdefault(clock_text((day.start_utc_s + day.end_utc_s) / 2, "%b %Y"), [0.0] * 5)
        for i, name in enumerate(("sun_ah", "alternator_ah", "other_ah", "charge_out_ah")):
            row[i] += day.values[name] or 0.0
        row[4] += 1
    return [(month, *(number(value) for value in row)) for month, row in sums.items()]


def _nights(book: LogView) -> list[tuple[str, ...]]:
    quarters = book.quarters(book.extent()[1] - NIGHTS_S)
    return worst_nights.lines(worst_nights.nights(quarters, local_hour), book.known.vehicle.house.reserve_soc_frac, clock_text, NIGHTS)


def _usual(book: LogView) -> list[tuple[str, str]]:
    """The mean day of the log, in words."""
    days = [d for d in book.days(*book.extent()) if (d.values["covered_s"] or 0.0) > 0.8 * DAY_S]
    if not days:
        return []
    return [(label, f"{number(sum(d.values[name] or 0.0 for d in days) / len(days), 1)} Ah a day") for label, name in (
        ("Spent", "charge_out_ah"), ("From the sun", "sun_ah"), ("From the engine", "alternator_ah"), ("From another charger", "other_ah"))]


def _alerts(book: LogView) -> list[tuple[str, str, str]]:
    """The latest alerts as (when, how long, what was seen)."""
    found = []
    for logged in book.alerts()[:ALERTS]:
        lasted = "still there" if logged.until_utc_s is None else f"for {span(logged.until_utc_s - logged.at_utc_s)}"
        found.append((clock_text(logged.at_utc_s, "%-d %b %Y, %H:%M"), lasted, logged.what.seen))
    return found


def _extent(book: LogView) -> str:
    first, last = book.extent()
    return f"{clock_text(first, '%-d %b %Y')} to {clock_text(last, '%-d %b %Y')} ({span(last - first)})"


def _young(book: LogView) -> str:
    """What a log is still too short for, or nothing."""
    first, last = book.extent()
    return "" if last - first >= WEEK_S else f"the log is {span(last - first)} long and the first week is not over"


def _face() -> str:
    return base64.b64encode((STATIC / "type" / "besley.woff2").read_bytes()).decode()


def _inline(text: str) -> str:
    """Text that may stand inside a script element."""
    return text.replace("</", "<\\/")


if __name__ == "__main__":
    sys.exit(main())
