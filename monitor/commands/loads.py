"""ampledger loads: what each load took, and names for them."""
import sys
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, local_moment, locate_database


@click.group(short_help="List the loads that were found, and name them.")
def loads() -> None:
    """Loads are found by their steps in the house current. A load with a name has its ampere-hours a day on the pages.

    `name` waits for the daemon's answer, at most ten seconds, and passes it on: exit code 0 done, 1 refused, 3 kept and done
    later. `ampledger undo` takes an entry back.
    """


@loads.command("list", short_help="All loads that were found: today, yesterday, a usual day.")
@config_option
@database_option
def list_(config_file: Path | None, database: Path | None) -> None:
    """List the loads that have a name with their ampere-hours, and all that were found in the current.

    Brackets show the 95 % range. The number is what `ampledger loads name` takes.
    """
    from rich.console import Console
    from rich.table import Column, Table

    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.reporting import load_words

    now = Reader(locate_database(config_file, database)).now()
    if now is None:
        raise Refused("the log is empty; come back after the first minute")
    named = now.findings.named
    if named.because:
        raise Refused(f"what the loads take is not known, because {named.because}")
    console = Console(width=None if sys.stdout.isatty() else 150)
    rows = load_words.table(named)
    if rows:
        took = Table("load, Ah", *(Column(heading, justify="right") for heading in ("today", "yesterday", "usual day")))
        for row in rows:
            took.add_row(row.name, *(f"{shown.value} {shown.interval}" if shown.known else "–" for shown in (
                row.today, row.yesterday, row.usual)))
        console.print(took)
    if not named.loads:
        click.echo("No load has been found yet. They are found when they are switched on and off in the dark, or where the solar "
                   "current is measured.")
        return
    found = Table(Column("number", justify="right"), "name", Column("current", justify="right"), "runs", "last on")
    for load in named.loads:
        known = load_words.recognise(load, lambda at_s: local_moment(now.utc_s + at_s - now.at_s))
        found.add_row(str(known.number), known.name or "–", known.current, known.runs, known.last.removeprefix("last "))
    console.print(found)


@loads.command(short_help="Give a load a name.")
@click.argument("number", type=click.IntRange(1))
@click.argument("words", metavar="NAME")
@config_option
@database_option
def name(number: int, words: str, config_file: Path | None, database: Path | None) -> None:
    """Call load NUMBER of `ampledger loads list` by a NAME, such as fridge. An empty NAME ("") takes its name away.

    Two loads may bear one name, as the two speeds of a heater: their ampere-hours are added.
    """
    from monitor.commands.wishes import ask_daemon

    ask_daemon(locate_database(config_file, database), "name_load", load=number, name=words.strip())
