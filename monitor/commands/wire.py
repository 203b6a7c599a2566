"""ampledger wire: the thinnest cable that keeps a voltage drop within its limit."""
import click

FEET_PER_M = 3.28084


@click.command(short_help="Find a cable size for a current and a length.")
@click.option("--current", "current_a", required=True, type=click.FloatRange(0, min_open=True), help="Amperes.")
@click.option("--length", "length_m", required=True, type=click.FloatRange(0, min_open=True),
              help="Metres ONE way; the way back is added.")
@click.option("--drop", "drop_pct", default=3.0, show_default=True, type=click.FloatRange(0, 50, min_open=True),
              help="Allowed drop in per cent: 3 for what must not suffer (charging, fridge), 10 for the rest (ABYC E-11).")
@click.option("--voltage", "voltage_v", default=12.0, show_default=True, type=click.FloatRange(0, min_open=True), help="Volts.")
@click.option("--temperature", "temperature_c", default=20.0, show_default=True, type=click.FloatRange(-40, 105),
              help="Of the copper, in °C; warm copper drops more.")
def wire(current_a: float, length_m: float, drop_pct: float, voltage_v: float, temperature_c: float) -> None:
    """Find the thinnest copper cable (IEC 60228, flexible) whose voltage drop stays within the limit.

    What a cable may carry without overheating is another question: follow the cable's own data and
    the local code, and put a fuse at every source (docs/wiring.md).
    """
    from monitor.cli import Refused
    from monitor.planning import wire as sizes

    try:
        cable = sizes.choose(current_a, 2 * length_m, drop_pct, voltage_v, temperature_c)
    except ValueError as error:
        raise Refused(str(error)) from None
    click.echo(f"{cable.area_mm2:g} mm²: drops {cable.drop_v:.2f} V ({cable.drop_pct:.1f} %), turns {cable.loss_w:.1f} W into heat.")
    try:
        gauge = sizes.gauge(current_a, 2 * length_m * FEET_PER_M, drop_pct, voltage_v)
        click.echo(f"In SAE sizes: gauge {gauge}.")
    except ValueError as error:
        click.echo(f"In SAE sizes: {error}.")
    click.echo("Also keep to what this cable may carry where it lies, by its data and the local code, and fuse every source.")
