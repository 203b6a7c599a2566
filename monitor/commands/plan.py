"""ampledger plan: which system for which trip, side by side, before there is a log."""
import json
import sys
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, locate_database, with_progress, write_whole


class LegType(click.ParamType):
    """Months at a place: MONTHS@PLACE, or PLACE alone for the months of --months."""

    name = "PLACE[@MONTHS]"

    def convert(self, value, param, ctx):  # noqa: ARG002 - click's own signature
        place, _, months = value.partition("@")
        return place.strip(), months.strip()


@click.command(short_help="Which battery, panel and charging for which trip: systems side by side.")
@click.option("--place", "legs", type=LegType(), multiple=True, required=True,
              help='Where: a name, or latitude,longitude or latitude,longitude,height; with its months behind @, as "Lisbon@5-9". '
                   "Repeat for a trip in parts.")
@click.option("--months", default="all", show_default=True, help="5, 5-9, May-September or all, for places without their own.")
@click.option("--load", "loads", multiple=True,
              help="What you run: a name of the catalogue (fridge, laptop, lights, …), with changes as fridge,volume=60 or"
                   " laptop,hours=4; or your own as kettle,800,0.2 (name, watts while on, hours a day). Repeat.")
@click.option("--with", "systems", multiple=True,
              help="A system: agm=100,panel=150,relay=5x16 (metres one way x mm²) or lfp=100,panel=200,dcdc=30; tilt=, reserve= (%),"
                   " shore= (A), alternator=managed or its amperes to spare, controller=plain, mount=free, age= (of the panel), price=, "
                   "name=. Repeat. Default: a few of the size that the loads call for.")
@click.option("--find", type=click.Choice(["lightest", "smallest"]), help="Search a grid of systems for this one instead.")
@click.option("--short", "most_short", default=2.0, show_default=True, help="With --find: nights in 100 that may be short.")
@click.option("--most-panel", "most_panel_w", default=400.0, show_default=True, type=click.FloatRange(0, 5000),
              help="Watts of panel there is room for.")
@click.option("--drive", "drive_hours", default=1.5, show_default=True, type=float, help="Hours driven on a day of driving.")
@click.option("--standing", "standing_days", default=2, show_default=True, type=int, help="Days without driving between two such days.")
@click.option("--days", type=int, help="Days of each month that are travelled. Default: all.")
@click.option("--cabin", "cabin_k", default=3.0, show_default=True, type=float, help="Kelvin by which the cabin is warmer than the air.")
@click.option("--heated", "heated_c", default=12.0, show_default=True, type=float,
              help="°C that a lived-in cabin is kept at, at the least; a fridge in it feels no winter.")
@click.option("--shore", "shore_every_days", type=int, help="A night on shore power every so many days.")
@click.option("--sun", help="Your own figures: twelve months of kWh/m² a day on the level, 1.8,2.6,…")
@click.option("--air", help="Your own figures: twelve months of mean temperature, °C.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, units in the names.")
@click.option("--page", "page_file", type=click.Path(path_type=Path, dir_okay=False),
              help="Write the plan as one HTML file to print: parts, circuits and drawing of the best system.")
@click.option("--from-log", "log_days", is_flag=False, flag_value=60, default=0, type=click.IntRange(0, 730), metavar="[DAYS]",
              help="Take the loads of the latest days of the log (60), fridge and heat as they were, and what its months say of sun "
                   "and air near the vehicle's latitude and longitude; --load adds to them.")
@config_option
@database_option
def plan(legs, months: str, loads, systems, find: str | None, most_short: float, most_panel_w: float, drive_hours: float,
         standing_days: int, days: int | None, cabin_k: float, shore_every_days: int | None, sun: str | None, air: str | None,
         as_json: bool, page_file: Path | None, log_days: int, heated_c: float, config_file: Path | None, database: Path | None) -> None:
    """Live the trip with each system, forty times with what is not known drawn anew: weather, use, batteries, alternator.

    Sun and air come from published monthly figures of some 950 places, or from what lies between them, with the doubt that
    brings. A plan, not a promise: once there is a log, `ampledger whatif` answers from your own life.
    """
    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.planning import plan as planning
    from monitor.planning.logged_life import read_logged
    from monitor.planning.plan_request import PlanRequest, read_twelve, work_out
    from monitor.planning.trip import describe_trip
    from monitor.reporting import plan_page, plan_words

    try:
        request = PlanRequest(tuple((place, own or months) for place, own in legs), tuple(loads), tuple(systems), find or "", most_short,
                              most_panel_w, drive_hours, standing_days, cabin_k, shore_every_days, days, read_twelve(sun, "--sun"),
                              read_twelve(air, "--air"), log_days, heated_c)
        logged = read_logged(Reader(locate_database(config_file, database)), log_days) if log_days else None
        answer = with_progress("living the trip", lambda tell: work_out(request, logged, tell))
    except ValueError as error:
        raise Refused(str(error)) from None
    if page_file is not None:
        write_whole(page_file, plan_page.format_page(answer.drawn, answer.results, answer.best, most_short / 100))
        click.echo(f"{page_file} is written; print it from the browser.", err=True)
    if as_json:
        click.echo(json.dumps(plan_words.as_data(answer.drawn, answer.results), indent=1, ensure_ascii=False))
        return
    click.echo(f"{describe_trip(answer.drawn.trip)}.")
    for line in plan_words.climate_lines(answer.drawn)[:12]:
        click.echo(f"  {line}")
    _print(answer.results)
    click.echo(plan_words.lead(answer.results, most_short / 100))
    for result in answer.results:
        for line in plan_words.describe(result):
            click.echo(f"{result.candidate.name}: {line}")
    click.echo(f"Counts are per {planning.PER} nights, brackets the 95 % range over {planning.DRAWS} ways in which the trip may turn out. "
               "Cables, fuses, parts and a drawing: --page plan.html.")


def _print(results) -> None:
    from rich.console import Console
    from rich.table import Table

    from monitor.reporting.plan_words import HEADINGS, cells

    priced = any(r.candidate.price is not None for r in results)
    table = Table("system", *HEADINGS, *(["price"] if priced else []))
    for result in results:
        found = dict(cells(result))
        table.add_row(result.candidate.name, *(found[h] for h in HEADINGS), *([found.get("price", "–")] if priced else []))
    Console(width=None if sys.stdout.isatty() else 160).print(table)
