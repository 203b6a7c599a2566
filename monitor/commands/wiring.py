"""ampledger wiring and ampledger ventilation: the wiring guide, its picture, and the air that a battery needs."""
from pathlib import Path

import click

from monitor.commands.circuit import BatteryType
from monitor.commands.options import USUAL, config_option, load_config, write_whole


@click.command(short_help="The wiring guide, and the picture of your vehicle's wiring.")
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False), help="Write the picture of this vehicle to this SVG file.")
@config_option
def wiring(picture: Path | None, config_file: Path | None) -> None:
    """Print the wiring guide, or write the picture drawn from the configuration.

    The same as the page Wiring of the board. Without a configuration the usual vehicle is drawn.
    """
    if picture is not None and not picture.name:
        raise click.BadParameter("give the name of a file, as wiring.svg", param_hint="--picture")
    from monitor.guides import text, wiring_picture
    from monitor.guides.wiring_plan import WiringPlan, make_plan

    plan = WiringPlan()
    if config_file is not None or any(place.exists() for place in USUAL):
        config = load_config(config_file, need_sources=False)
        measured = {q for source in config.sources for q in _quantities(source)}
        plan = make_plan(config.wiring, config.vehicle.charging, config.vehicle.isolator_follows, measured)
    if picture is None:
        click.echo(wiring_picture.describe(plan) + "\n")
        click.echo(text.read_guide("wiring"))
        return
    write_whole(picture, wiring_picture.draw(plan))
    click.echo(f"{picture} is written: {wiring_picture.describe(plan)}")


def _quantities(source) -> set[str]:
    """What an instrument of the configuration gives."""
    measures = getattr(source.options, "measures", None)
    if measures is None:  # a simulation or a recording: all that is usual
        return {"house_voltage_v", "house_current_a", "starter_voltage_v", "house_temperature_c"}
    return {measures} if isinstance(measures, str) else set(measures)


@click.command(short_help="Fresh air that a charging lead-acid battery needs.")
@click.option("--battery", required=True, type=BatteryType(), help="Chemistry, Ah of one, number in parallel: flooded,100 or agm,100,2.")
@click.option("--gas", "gas_ma_per_ah", type=float, help="Gassing current in mA per Ah. Default: the standard's, for float and for the "
                                                         "charger's higher voltage.")
def ventilation(battery, gas_ma_per_ah: float | None) -> None:
    """Fresh air, openings and distance for a lead-acid battery by EN IEC 62485-2 (formerly EN 50272-2).

    Local codes and licensed practice have the last word.
    """
    from monitor.circuits import ventilation as air
    from monitor.cli import Refused

    chemistry, capacity_ah, count = battery
    try:
        cases = ([("as given", gas_ma_per_ah)] if gas_ma_per_ah is not None else
                 [("at the charger's higher voltage", air.gas_current(chemistry, True)), ("on float", air.gas_current(chemistry, False))])
        air.gas_current(chemistry, True)  # refuses what gives no gas
        found = [(words, air.calculate_ventilation(count * capacity_ah, gas)) for words, gas in cases]
    except ValueError as error:
        raise Refused(str(error)) from None
    for words, need in found:
        click.echo(f"{count * capacity_ah:g} Ah of 12 V, {chemistry}, {words} ({need.gas_ma_per_ah:g} mA/Ah): {need.flow_m3_per_h:.2f} "
                   f"m³/h of fresh air, inlet and outlet "
                   f"of {need.opening_cm2:.1f} cm² each, {need.room_m3:.2f} m³ of free room, no spark or flame within "
                   f"{need.distance_mm / 1000:.2f} m.")
    click.echo("By EN IEC 62485-2, with the first line for a compartment: low inlet, high outlet, to the outside. Local codes and "
               "licensed practice have the last word.")
