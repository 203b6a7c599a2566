"""ampledger life: how many years the house battery has left, and what shortens them most."""
import json
from dataclasses import asdict
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, locate_database


@click.command(short_help="Years left of the house battery, and what shortens them most.")
@click.option("--short-nights", default=2.0, show_default=True, type=float,
              help="Nights in 30 below the reserve that you bear: beyond that the battery is too small for you.")
@click.option("--cycles", type=float, help="Full cycles that its data sheet promises. Default: the usual of its kind.")
@click.option("--float-years", type=float, help="Years that it promises on float at 20 °C. Default: the usual of its kind.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, units in the names.")
@config_option
@database_option
def life(short_nights: float, cycles: float | None, float_years: float | None, as_json: bool, config_file: Path | None,
         database: Path | None) -> None:
    """Count the wear of the log's own hours, compare it with the measured capacity, and say how long the battery should last.

    Lead-acid by weighted ampere-hours with corrosion, lithium iron phosphate by time and use; 80 % of its rating stands beside your
    own criterion. Reads the log only.
    """
    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.planning.battery_life import work_out_life
    from monitor.reporting import life_words as words

    try:
        report = work_out_life(Reader(locate_database(config_file, database)), short_nights, cycles, float_years)
    except ValueError as error:
        raise Refused(str(error)) from None
    if as_json:
        click.echo(json.dumps(asdict(report), indent=1, ensure_ascii=False, allow_nan=False))
        return
    click.echo(words.describe_headline(report))
    for label, value, note in words.list_rows(report):
        click.echo(f"  {label + ':':32}{value}{f' ({note})' if note else ''}")
    click.echo(f"\n{words.METHOD}")
