"""ampledger second-battery: whether the starter battery alone can feed the camp."""
import json
from dataclasses import asdict
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, locate_database


class CampLoadType(click.ParamType):
    """A load as NAME,WATTS,HOURS: watts while on, hours a day on."""

    name = "NAME,WATTS,HOURS"

    def convert(self, value, param, ctx):
        from monitor.planning.second_battery import CampLoad

        try:
            name, watts, hours = value.rsplit(",", 2)
            return CampLoad(name.strip(), float(watts), float(hours))
        except ValueError:
            self.fail(f"{value!r} is not a load; write it as fridge,45,10 (name, watts while on, hours a day)", param, ctx)


@click.command(short_help="Do I need a second battery? Hours until a start gets doubtful, and what that costs.")
@click.option("--load", "loads", type=CampLoadType(), multiple=True, required=True,
              help="A consumer at camp: name, watts while on, hours a day on. Repeat for each.")
@click.option("--label", "text", required=True, help="What is printed on the vehicle's battery, as \"70Ah 640A EN\".")
@click.option("--litres", default=2.0, show_default=True, type=float, help="Displacement of the engine.")
@click.option("--diesel", is_flag=True, help="It is a diesel.")
@click.option("--temperature", default=10.0, show_default=True, type=float, help="At the start, °C.")
@click.option("--night", "night_hours", default=14.0, show_default=True, type=float, help="Hours from engine off to the next start.")
@click.option("--drive", "drive_hours", default=1.5, show_default=True, type=float, help="Hours of driving a day.")
@click.option("--measured", is_flag=True, help="Take the voltage drop of the log's latest good start.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, units in the names.")
@config_option
@database_option
def second_battery(loads, text: str, litres: float, diesel: bool, temperature: float, night_hours: float, drive_hours: float,
                   measured: bool, as_json: bool, config_file: Path | None, database: Path | None) -> None:
    """Say for how many hours one battery feeds these loads until it may not start the engine, and what that costs in its life.

    Flooded is taken where the label does not say the kind. A plan, not a promise: an old battery lasts less.
    """
    from monitor.cli import Refused
    from monitor.planning import second_battery as planning
    from monitor.planning.labels import read_label
    from monitor.reporting import second_battery_words as words

    try:
        label = read_label(text)
        drop = _measured_drop(config_file, database) if measured else None
        found = planning.answer(planning.battery_of(label, litres, diesel, drop), loads, night_hours, temperature, drive_hours)
    except ValueError as error:
        raise Refused(str(error)) from None
    if as_json:
        click.echo(json.dumps(asdict(found) | {"caution": words.CAUTION}, indent=1, ensure_ascii=False))
        return
    click.echo(words.describe_headline(found))
    for name, value, note in words.list_rows(found):
        click.echo(f"  {name + ':':40}{value}{f' ({note})' if note else ''}")
    click.echo(f"\n{words.CAUTION}")


def _measured_drop(config_file: Path | None, database: Path | None) -> float:
    """The voltage drop while cranking that the log has. Raises ValueError where it has none."""
    from monitor.findings import Estimate
    from monitor.logbook.reader import Reader

    now = Reader(locate_database(config_file, database)).now()
    drop = now.findings.starter.crank_drop_frac if now is not None else None
    if not isinstance(drop, Estimate):
        raise ValueError("the log has no start with fast readings of the starter voltage; leave --measured out")
    return drop.value
