"""ampledger circuit: conductor, fuse, relay, heat and drop of a circuit or of a whole system."""
import json
from dataclasses import replace
from pathlib import Path

import click

from monitor.commands.options import ChemistryType, write_whole


class CircuitType(click.ParamType):
    """A circuit as NAME,AMPERES,METRES."""

    name = "NAME,AMPERES,METRES"

    def convert(self, value, param, ctx):
        try:
            name, amperes, metres = value.rsplit(",", 2)
            return name.strip() or "circuit", float(amperes), float(metres)
        except ValueError:
            self.fail(f"{value!r} is not a circuit; write it as fridge,5,4 (name, amperes, metres one way)", param, ctx)


class BatteryType(click.ParamType):
    """A battery as CHEMISTRY,AH[,NUMBER]."""

    name = "CHEMISTRY,AH[,NUMBER]"

    def convert(self, value, param, ctx):
        try:
            chemistry, capacity, *count = value.split(",")
            found = float(capacity), int(*count or ["1"])
        except (ValueError, TypeError):
            self.fail(f"{value!r} is not a battery; write it as agm,100 or, for two in parallel, agm,100,2", param, ctx)
        return ChemistryType().convert(chemistry, param, ctx), *found


@click.command(short_help="Cable, fuse and relay for a circuit: heat, short circuit and drop.")
@click.option("--current", "current_a", type=float, help="Amperes that flow.")
@click.option("--length", "length_m", type=float, help="Metres ONE way; the way back is added.")
@click.option("--circuit", "listed", type=CircuitType(), multiple=True,
              help="A circuit by name, amperes and metres one way. Repeat; the options below hold for each.")
@click.option("--file", "system_file", type=click.Path(path_type=Path, dir_okay=False), help="A whole system in one TOML file "
    "(`ampledger docs wiring` shows one).")
@click.option("--kind", type=click.Choice(["load", "charger", "link", "sense", "control"]), default="load", show_default=True,
              help="link joins two batteries; control is a relay's trigger wire.")
@click.option("--place", type=click.Choice(["cabin", "engine-bay"]), default="cabin", show_default=True, help="Where its hottest part "
    "runs.")
@click.option("--laid", type=click.Choice(["open", "conduit", "insulation"]), default="open", show_default=True,
              help="insulation: wholly inside a wall's insulation.")
@click.option("--bundle", "loaded_count", type=int, default=2, show_default=True, help="Conductors under load side by side, these two "
    "among them.")
@click.option("--insulation", "insulation_c", type=float, default=70.0, show_default=True, help="°C printed on the cable: 60 to 125.")
@click.option("--ambient", "ambient_c", type=float, help="°C of the air there. Default: 40 in the cabin, 70 in the engine bay.")
@click.option("--drop", "drop_pct", type=float, default=3.0, show_default=True,
              help="Allowed drop in per cent: 3 for what must not suffer (charging, fridge), 10 for the rest (ABYC E-11).")
@click.option("--continuous/--short", default=True, show_default=True, help="It flows for hours, or only for minutes.")
@click.option("--relay", is_flag=True, help="A relay or contactor switches it.")
@click.option("--inrush", "inrush_a", type=float, help="Amperes at switching on.")
@click.option("--conductor", default="", help='Check this cable instead of finding one: "16 mm2" or "6 AWG".')
@click.option("--fuse", "fuse_a", type=float, help="Check this fuse (amperes) instead of finding one.")
@click.option("--fuse-distance", "fuse_distance_m", type=float, default=0.0, help="Metres from the source to its fuse.")
@click.option("--sheathed", is_flag=True, help="The cable is sheathed or enclosed all the way to its fuse.")
@click.option("--tinned", is_flag=True, help="Tinned copper.")
@click.option("--battery", "battery", type=BatteryType(), help="What feeds it: chemistry, Ah of one, number in parallel. Default: "
              "the house battery of ampledger.toml, else an unknown one of 10 kA.")
@click.option("--short-circuit", "short_circuit_a", type=float, help="Amperes that can flow into a short at its fuse, if known.")
@click.option("--panel", is_flag=True, help="It is fed from a panel behind a main fuse that can break the battery's current.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, units in the names.")
@click.option("--page", "page_file", type=click.Path(path_type=Path, dir_okay=False), help="Write the sheet as one HTML file to print.")
def circuit(current_a, length_m, listed, system_file, place, battery, short_circuit_a, panel, as_json, page_file, **given) -> None:
    """Find cable, fuse and relay for a circuit, by heat where it runs, by a short circuit and by drop when warm.

    What cannot be, or would not be safe, is refused in one sentence with the limit and its source. By published
    tables; local codes and licensed practice have the last word.
    """
    from monitor.circuits import words
    from monitor.circuits.circuit import Circuit
    from monitor.circuits.circuit import Refused as Unsafe
    from monitor.circuits.design import Sheet, design
    from monitor.cli import Refused
    from monitor.config import circuit_tables

    if system_file is not None:
        if listed or current_a is not None or length_m is not None:
            raise Refused("give --file, or circuits by options, not both")
        sheet = circuit_tables.load(system_file)
    else:
        if (current_a is None) != (length_m is None):
            raise Refused("--current and --length belong together: amperes, and metres one way")
        wanted = [*listed] + ([("circuit", current_a, length_m)] if current_a is not None else [])
        if not wanted:
            raise Refused("name a circuit: --current 30 --length 4, or --circuit fridge,5,4 (repeat), or --file system.toml")
        supply = _supply(battery, short_circuit_a, panel)
        plans, refused = [], []
        for name, amperes, metres in wanted:
            try:
                plans.append(design(Circuit(name, amperes, metres, place=place.replace("-", " "), **given), supply))
            except Unsafe as error:
                refused.append(str(error))
        sheet = Sheet(tuple(plans), tuple(refused))
    if page_file is not None:
        write_whole(page_file, words.format_page(sheet))
        click.echo(f"{page_file} is written; print it from the browser.", err=True)
    if sheet.plans or as_json:
        click.echo(json.dumps(words.as_data(sheet), indent=1, ensure_ascii=False) if as_json else words.format_text(replace(sheet,
            refused=())))
    if sheet.refused:
        raise Refused("\nampledger: ".join(sheet.refused))


def _supply(battery, short_circuit_a: float | None, panel: bool):
    """What the circuits hang on, by the options, else by the configuration, else unknown."""
    from monitor.circuits import source
    from monitor.cli import Refused
    from monitor.commands.options import USUAL, load_config

    try:
        if short_circuit_a is not None:
            supply = source.battery_supply("battery", "flooded", short_circuit_a=short_circuit_a)
        elif battery is not None:
            supply = source.battery_supply("battery", battery[0], battery[1], count=battery[2])
        elif any(place.exists() for place in USUAL):
            house = load_config(None, need_sources=False).vehicle.house
            supply = source.battery_supply("house battery", house.chemistry, house.rated_capacity_ah)
        else:
            supply = source.UNKNOWN
    except ValueError as error:
        raise Refused(str(error)) from None
    return replace(supply, behind_main=True) if panel else supply
