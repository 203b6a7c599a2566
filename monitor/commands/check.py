"""ampledger check: is the configuration right, and does every sensor answer."""
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import config_option, load_config

#: Possible but worth a look in a vehicle at rest: quantity -> (low, high, what to do).
USUAL = {
    "house_voltage_v": (10.5, 15.2, "measure at the posts with a multimeter: the divider's ratio may be wrong, or the battery is in "
                                    "trouble"),
    "starter_voltage_v": (10.5, 15.2, "measure at the posts with a multimeter: the divider's ratio may be wrong, or the battery is in "
                                      "trouble"),
    "house_current_a": (-150.0, 150.0, "check the shunt's scale (its label says how many millivolts are how many amperes)"),
    "house_temperature_c": (-25.0, 60.0, "see that the sensor sits on the battery's side, not in the sun or on a charger"),
    "starter_temperature_c": (-35.0, 90.0, "see where the sensor sits"),
    "ambient_temperature_c": (-40.0, 60.0, "see where the sensor sits: in the shade, away from engine and charger"),
    "solar_current_a": (-0.5, 100.0, "it must be positive when the sun delivers: scale = -1 turns it round"),
    "solar_2_current_a": (-0.5, 100.0, "it must be positive when the sun delivers: scale = -1 turns it round"),
    "ignition_on": (0.0, 1.0, ""),
}
UNITS = {"v": "V", "a": "A", "c": "°C", "on": ""}
#: What is given up without a quantity.
WITHOUT = {
    "house_current_a": "without it nothing is counted: charge, tonight and health stay rough or unknown",
    "house_voltage_v": "without it charge is only counted, never corrected",
    "starter_voltage_v": "without it the starter battery and the isolator are not watched",
    "house_temperature_c": "optional: without it a mild climate is supposed, and intervals are wider",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table. verdict: ok, LOOK (possible, but odd), WRONG."""

    source: str
    quantity: str
    shown: str
    verdict: str
    todo: str
    value: float | None = None


@click.command(short_help="Validate the configuration and read each sensor once.")
@config_option
def check(config_file: Path | None) -> None:
    """Validate the configuration, open each instrument, read it once, and say what to do about what is wrong.

    LOOK marks a reading that is possible but odd. Ends with 0 when all is well, with 1 when something is WRONG.
    """
    config = load_config(config_file)
    rows = mark_disagreements([row for number, source in enumerate(config.sources, 1)
                               for row in rows_of(source, f"{number} {source.driver}", config.unknown_dividers)])
    given = {row.quantity for row in rows} | {q for source in config.sources for q in getattr(source.options, "measures", ())}
    rows += [Row("", name, "not configured", "", todo) for name, todo in WITHOUT.items() if name not in given]
    rows += _ways_out(config)
    _print(rows)
    wrong = sum(row.verdict == "WRONG" for row in rows)
    odd = sum(row.verdict == "LOOK" for row in rows)
    click.echo(f"{config.path}: the configuration is sound; {wrong} wrong, {odd} worth a look." if wrong or odd
               else f"{config.path}: all is well. Next: `ampledger run`.")
    if wrong:
        sys.exit(1)


def rows_of(source: Any, name: str, unknown_dividers: frozenset[str] = frozenset()) -> list[Row]:
    """What one instrument says of everything it should give.

    source: of the configuration; name: of it in the table; unknown_dividers: voltages whose divider nobody knows yet.
    """
    from drivers.errors import DriverError
    from monitor.sampling import judge

    driver = None
    try:
        driver = source.open()
        reading = driver.read()
    except DriverError as error:
        return [Row(name, "", "no reading" if driver else "cannot be opened", "WRONG", str(error))]
    except Exception as error:  # a driver of somebody else's may break in any way
        return [Row(name, "", "the driver broke", "WRONG", f"{type(error).__name__}: {error}; report it to who wrote the driver")]
    finally:
        if driver is not None:
            driver.close()
    if reading.simulated:
        name += " (SIMULATED)"
    rows = []
    for quantity, value in reading.values.items():
        impossible = judge.refuse_reading(quantity, value)
        low, high, advice = USUAL.get(quantity, (value, value, ""))
        odd = not impossible and not low <= value <= high
        shown = f"{value:.3f} {UNITS.get(quantity.rpartition('_')[2], '')}".strip()
        if quantity in unknown_dividers:
            rows.append(_at_pin(name, quantity, shown))
            continue
        rows.append(Row(name, quantity, shown, "WRONG" if impossible else "LOOK" if odd else "ok", impossible or (advice if odd else ""),
                        value))
    return rows + [Row(name, fault.quantity, "no reading", "WRONG", fault.reason) for fault in reading.faults]


def _at_pin(source: str, quantity: str, shown: str) -> Row:
    """The row of a voltage whose divider nobody knows yet: what its channel shows is no battery's voltage, and no fault.

    source: the instrument; quantity: the voltage; shown: at its channel.
    """
    return Row(source, quantity, f"{shown} at the channel", "",
               "its divider is not known yet: the page Instruments compares it with a multimeter, or `ampledger calibrate "
               f"divider --battery {quantity.partition('_')[0]} --meter-v VOLTS`")


def mark_disagreements(rows: list[Row]) -> list[Row]:
    """The rows, with a word where a second instrument for the same quantity cannot be right together with the first."""
    from monitor.sampling import judge

    first: dict[str, Row] = {}
    out = []
    for row in rows:
        before = first.setdefault(row.quantity, row)
        if (before is not row and row.value is not None and before.value is not None and row.verdict == "ok"
                and judge.find_disagreement(row.quantity, before.value, row.value)):
            row = replace(row, verdict="LOOK",
                          todo=f"source {before.source} says {before.shown}, and is the one used; one of them is wrong")
        out.append(row)
    return out


def _ways_out(config: Any) -> list[Row]:
    """A row for alerts that could not even be tried; sending is `ampledger alerts test`."""
    from monitor.alerts.delivery import channels

    try:
        ways = channels(config.alerts.command, config.alerts.apprise, config.alerts.mqtt)
    except ValueError as error:
        return [Row("alerts", "", "cannot be sent", "WRONG", str(error))]
    for way in ways:
        getattr(way, "close", lambda: None)()
    return []


def _print(rows: list[Row]) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table("source", "quantity", "reading", "", "what to do", title_justify="left")
    for row in rows:
        style = {"WRONG": "bold red", "LOOK": "yellow"}.get(row.verdict)
        table.add_row(row.source, row.quantity, row.shown, row.verdict, row.todo, style=style)
    Console(width=None if sys.stdout.isatty() else 140).print(table)
