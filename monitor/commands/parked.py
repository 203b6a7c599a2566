"""ampledger parked: before a long stay, and after one."""
import json
from dataclasses import asdict
from math import isinf
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import config_option, database_option, locate_database

#: How far the last stay is looked for, and the last warmth [s].
LOOK_BACK_S, WARMTH_S = 200 * 86400.0, 7 * 86400.0


@click.command(short_help="How long it may stand, what to do before, and where the charge went after.")
@click.option("--weeks", default=4.0, show_default=True, type=float, help="How long it will stand.")
@click.option("--temperature", "temperature_c", type=float, help="Mean temperature there, °C. Default: that of the last week, else 15.")
@click.option("--json", "as_json", is_flag=True, help="As JSON, units in the names.")
@config_option
@database_option
def parked(weeks: float, temperature_c: float | None, as_json: bool, config_file: Path | None, database: Path | None) -> None:
    """Say what drains both batteries, how long they last, what to do before leaving, and where frost bites.

    Where the log holds a stay of three days or more, also say what of the missing charge was drain and what the
    batteries lost by themselves. Reads the log only.
    """
    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.planning import parked as plans
    from monitor.planning import parked_return
    from monitor.reporting import parked_words as words

    reader = Reader(locate_database(config_file, database))
    now = reader.now()
    if now is None:
        raise Refused(f"{reader.database}: nothing has been concluded yet; the first minute is written after a minute")
    hours = parked_return.hours_of(reader.rows_of_level("hours", now.utc_s - LOOK_BACK_S, now.utc_s))
    stay = parked_return.latest_stay(hours, now.vehicle)
    found = now.findings
    try:
        plan = plans.make_plan(
            now.vehicle, found.starter.charge_frac, found.starter.drain_a, found.charge.charge_frac, found.charge.capacity_ah,
            found.loads.shares.base_a, found.loads.shares.harvest_ah_per_day, weeks,
            temperature_c if temperature_c is not None else parked_return.recent_c(hours, now.utc_s - WARMTH_S))
    except ValueError as error:
        raise Refused(str(error)) from None
    if as_json:
        click.echo(json.dumps({"caution": words.CAUTION, "simulated": now.simulated, "plan": _finite(asdict(plan)),
            "last_stay": asdict(stay) if stay else None},
                              indent=1, ensure_ascii=False))
        return
    if now.simulated:
        click.echo("SIMULATED: no real battery is behind these figures.\n")
    click.echo(f"{words.describe_plan(plan)} ({words.format_weeks(plan.weeks)} at {plan.temperature_c:.0f} °C)")
    for battery in plan.batteries:
        click.echo(f"\n{battery.name.capitalize()} battery")
        for label, value, note in words.list_rows(battery):
            click.echo(f"  {label + ':':34}{value}{f' ({note})' if note else ''}")
    for sentence in plan.unknown:
        click.echo(f"\n{sentence}")
    click.echo("\nBefore you leave")
    for sentence in plan.todo:
        click.echo(f"  * {sentence}")
    if stay is not None:
        click.echo("\nThe last stay")
        for sentence in words.describe_stay(stay):
            click.echo(f"  {sentence}")
    click.echo(f"\n{words.CAUTION}")


def _finite(value: Any) -> Any:
    """Plain data without infinities, which JSON has no word for: null is "never within what is known"."""
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and isinf(value) else value
