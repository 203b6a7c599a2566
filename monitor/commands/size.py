"""ampledger size: a first system from a list of loads and a place."""
import click


class LoadType(click.ParamType):
    """A load as NAME,WATTS,HOURS."""

    name = "NAME,WATTS,HOURS"

    def convert(self, value, param, ctx):
        from monitor.planning.sizing import Load

        try:
            name, watts, hours = value.rsplit(",", 2)
            return Load(name.strip(), float(watts), float(hours))
        except ValueError:
            self.fail(f"{value!r} is not a load; write it as fridge,45,10 (name, watts while on, hours a day)", param, ctx)


MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December"]


@click.command(short_help="A first system from a list of loads and a place, before there is a log.")
@click.option("--load", "loads", type=LoadType(), multiple=True, required=True,
              help="A consumer: name, watts while on, hours a day on. Repeat for each.")
@click.option("--latitude", required=True, type=click.FloatRange(-90, 90), help="Of the camp, degrees, south negative.")
@click.option("--month", type=click.IntRange(1, 12), help="1 to 12. Default: the poorest month of the year.")
@click.option("--sunless", default=2.0, show_default=True, type=click.FloatRange(0.5, 14), help="Days to last without sun.")
@click.option("--temperature", default=10.0, show_default=True, type=click.FloatRange(-30, 50), help="Of the battery, °C.")
def size(loads, latitude: float, month: int | None, sunless: float, temperature: float) -> None:
    """Plan a first system: daily need, battery of either chemistry, flat panel, for ordinary and for poor weather.

    The same steps as the published stand-alone worksheets (Sandia handbook; IEEE 1013 form from memory). A start, not
    a promise: once there is a log, `ampledger whatif` answers from your own life.
    """
    from monitor.cli import Refused
    from monitor.planning import first_system

    try:
        plan = first_system.plan(list(loads), latitude, month, sunless, temperature)
    except ValueError as error:
        raise Refused(str(error)) from None
    click.echo(f"Need: {plan.daily_wh:.0f} Wh a day, {plan.daily_ah:.0f} Ah at 12 V. "
               f"Clear-sky sun in {MONTHS[plan.month - 1]}: {plan.sun_hours:.1f} h of full sun on level ground.")
    for found in plan.suggestions:
        click.echo(f"{found.chemistry}: {found.capacity_ah:.0f} Ah (still enough at the end of its life), "
                   f"flat panel {found.panel_ordinary_w:.0f} W for ordinary weather, {found.panel_poor_w:.0f} W for poor weather.")
    click.echo("Fuses, cables and ventilation: `ampledger docs wiring` and the local code.")
