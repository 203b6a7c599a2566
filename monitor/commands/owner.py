"""What the owner tells the daemon: a battery replaced, a shunt's zero."""
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, database_of


def _leave(config_file: Path | None, database: Path | None, kind: str, **values: object) -> None:
    from monitor.store import requests

    requests.leave(requests.folder_of(database_of(config_file, database)), kind, **values)
    click.echo("Noted; the daemon takes it up within a few seconds, or when it next runs.")


@click.group(short_help="Tell that a battery was replaced.")
def battery() -> None:
    """The life of the batteries: what the log cannot know by itself.

    A request is left beside the log; the daemon takes it up.
    """


@battery.command(short_help="A new battery was put in.")
@click.argument("which", type=click.Choice(["house", "starter"]))
@click.option("--capacity", "rated_capacity_ah", type=click.FloatRange(1, 2000), help="Ampere-hours on the new label.")
@config_option
@database_option
def replaced(which: str, rated_capacity_ah: float | None, config_file: Path | None, database: Path | None) -> None:
    """Say that the HOUSE or STARTER battery was replaced: what was learnt of the old one is put aside.

    The shunt's offset is kept, for it belongs to the shunt. If the new label differs, change the configuration too.
    """
    _leave(config_file, database, "battery_replaced", battery=which, rated_capacity_ah=rated_capacity_ah)


@click.group(short_help="Calibrate an instrument.")
def calibrate() -> None:
    """Calibrations that need no tool. What they find is kept in the log and used from then on.

    A zero that is off by 0.1 A is 2.4 ampere-hours a day.
    """


@calibrate.command(short_help="Everything is off: what the shunt shows now is zero.")
@click.option("--minutes", default=2.0, show_default=True, type=click.FloatRange(0.5, 30),
              help="How long everything has been off.")
@config_option
@database_option
def zero(minutes: float, config_file: Path | None, database: Path | None) -> None:
    """Take what the house shunt shows over the last minutes as zero.

    Everything must be off, the solar charger too (cover the panel or open its fuse), for that long before you ask.
    """
    _leave(config_file, database, "calibrate_zero", minutes=minutes)
