"""ampledger size: a first system from a list of loads and a place."""
import click


@click.command(short_help="A first system from a list of loads and a place, in plain figures.")
@click.option("--load", "loads", multiple=True, required=True,
              help="A consumer: name, watts while on, hours a day, as fridge,45,9; or a name of the catalogue, as fridge. Repeat for each.")
@click.option("--place", help="The camp: a name, or latitude,longitude or latitude,longitude,height.")
@click.option("--latitude", type=click.FloatRange(-90, 90), help="Of the camp, degrees, south negative, where no place is given.")
@click.option("--month", type=click.IntRange(1, 12), help="1 to 12. Default: the poorest month of the year.")
@click.option("--sunless", default=2.0, show_default=True, type=click.FloatRange(0.5, 14), help="Days to last without sun.")
@click.option("--temperature", default=10.0, show_default=True, type=click.FloatRange(-30, 50), help="Of the battery, °C.")
def size(loads, place: str | None, latitude: float | None, month: int | None, sunless: float, temperature: float) -> None:
    """Plan a first system: daily need, battery of either kind, flat panel alone, for an ordinary and for a poor year.

    The same steps as the published stand-alone worksheets (Sandia handbook; IEEE 1013 form from memory), with the place's own
    monthly sun; what they come to is then lived for that month by the engine of `ampledger plan`, which knows driving, too, and compares
    systems.
    """
    from monitor.cli import Refused
    from monitor.planning import first_system
    from monitor.planning.climate.places import MONTHS
    from monitor.planning.load_catalogue import parse_plain_load
    from monitor.planning.trip import parse_place

    if place is None and latitude is None:
        raise Refused("name the camp: --place Lisbon, --place 44.5,6.2, or --latitude 44")
    try:
        climate = parse_place(place) if place is not None else first_system.climate_by_latitude(latitude or 0.0)
        plan = first_system.plan([parse_plain_load(text) for text in loads], climate, month, sunless, temperature)
    except ValueError as error:
        raise Refused(str(error)) from None
    click.echo(f"Need: {plan.daily_wh:.0f} Wh a day, {plan.daily_ah:.0f} Ah at 12 V. Sun in {MONTHS[plan.month - 1]} on level ground: "
               f"{plan.sun_hours:.1f} h of full sun in an ordinary year, {plan.poor_hours:.1f} h in the poorest of ten ({plan.basis}).")
    for found in plan.suggestions:
        ordinary, poor = found.nights_short
        click.echo(f"{first_system.NAMES[found.kind]}: {found.capacity_ah:.0f} Ah (still enough at the end of its life), "
                   f"flat panel {found.panel_ordinary_w:.0f} W for an ordinary year, {found.panel_poor_w:.0f} W for a poor one.")
        click.echo(f"  Lived through, with weather and use drawn: short on {ordinary.value:.0f} nights in 30 ({ordinary.low:.0f} to "
                   f"{ordinary.high:.0f}) with the one, {poor.value:.0f} ({poor.low:.0f} to {poor.high:.0f}) with the other.")
    where = f'"{place}' if place is not None else f'"{latitude:g},LONGITUDE'
    click.echo(f"That is for the sun alone. With driving, and systems side by side: ampledger plan --place {where}@{plan.month}\" "
               + " ".join(f"--load {text}" for text in loads))
    click.echo("Fuses, cables and ventilation: `ampledger docs wiring` and the local code.")
