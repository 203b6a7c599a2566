"""ampledger whatif: what another battery, panel or charger would have done with the logged life."""
import sys
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, locate_database, with_progress


class CandidateType(click.ParamType):
    """A candidate as name=value pairs, checked as it is read: chemistry=lfp,capacity=200,sun=1.5,dcdc=30,loads=0.9,reserve=20."""

    name = "KEY=VALUE,…"

    def convert(self, value, param, ctx):
        from monitor.planning.candidates import parse_candidate

        try:
            parse_candidate(value)
        except ValueError as error:
            self.fail(str(error), param, ctx)
        return value


@click.command(short_help="What another battery, panel or charger would have done with the same life.")
@click.option("--with", "candidates", type=CandidateType(), multiple=True, required=True,
              help="A candidate: chemistry=, capacity= (Ah), sun= (times today's panel), solar= (charger limit, A), "
                   "dcdc= (A), loads= (times today's), reserve= (per cent). What is not named stays as it is. Repeat.")
@click.option("--days", default=60, show_default=True, type=click.IntRange(3, 730), help="Latest days of the log to replay.")
@config_option
@database_option
def whatif(candidates, days: int, config_file: Path | None, database: Path | None) -> None:
    """Replay the logged loads and sun through other set-ups, side by side with today's.

    First the present set-up is replayed; if it does not reproduce the log, the log does not explain the present
    battery, and nothing more is said. Loads that went off because the battery was flat come back in a candidate that is
    less flat; use that people spared is not in the log: for a larger battery the answers are a lower bound of use.
    """
    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.planning import candidates as candidate
    from monitor.planning import whatif as asking
    from monitor.planning.logged_life import describe_logged

    reader = Reader(locate_database(config_file, database))
    try:
        _, life, known = describe_logged(reader, days)
    except ValueError as error:
        raise Refused(str(error)) from None
    setups = [candidate.setup(known.setup, text) for text in candidates]
    try:
        slots, rms = asking.explain(life, known)
    except asking.NotExplained as error:
        raise Refused(str(error)) from None
    total = (1 + len(setups)) * asking.DRAWS
    _print(with_progress("living the same weeks again", lambda tell: asking.ask(slots, known, setups, rms,
                                                                                progress=lambda lives: tell(lives / total))))


def _print(answers) -> None:
    from rich.console import Console
    from rich.table import Table

    from monitor.reporting.life_words import list_causes, tell_years

    table = Table("set-up", "nights below reserve in 30 days", "against today", "days full in 30", "Ah missing in 30",
                  "lowest", "full cycles a year", "years a new one lives")
    for a in answers:
        table.add_row(a.setup.name, _span(a.nights_below_per_30), _span(a.nights_difference_per_30, sign="+"),
                      _span(a.full_days_per_30), _span(a.unserved_ah_per_30), _span(a.lowest_frac, 100, " %"),
                      _span(a.cycles_per_year), tell_years(a.years))
    Console(width=None if sys.stdout.isatty() else 150).print(table)
    for a in answers:
        if a.shortened_by:
            click.echo(f"{a.setup.name}: life is shortened by {list_causes(a.shortened_by)}.")
    click.echo(f"Intervals hold 95 % of {100} draws. Weight: {answers[0].weight}.")


def _span(estimate, scale: float = 1.0, unit: str = "", sign: str = "") -> str:
    value, low, high = (x * scale for x in (estimate.value, estimate.low, estimate.high))
    return f"{value:{sign}.0f}{unit} ({low:{sign}.0f} to {high:{sign}.0f})".replace("-", "\N{MINUS SIGN}")
