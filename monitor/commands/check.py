"""ampledger check: is the configuration right, and does every sensor answer."""
import sys
from pathlib import Path

import click

from monitor.commands.options import config_option, loaded

#: Readings outside these are absurd for a 12 V vehicle, or at least worth a look: quantity -> (low, high, advice).
PLAUSIBLE = {
    "house_voltage_v": (9.0, 15.5, "check the divider's ratio, the fuse of the measuring lead and the channel"),
    "starter_voltage_v": (9.0, 15.5, "check the divider's ratio, the fuse of the measuring lead and the channel"),
    "house_current_a": (-300.0, 300.0, "check the shunt's scale"),
    "house_temperature_c": (-30.0, 70.0, "check the sensor and where it sits"),
    "starter_temperature_c": (-40.0, 100.0, "check the sensor and where it sits"),
    "ambient_temperature_c": (-40.0, 70.0, "check the sensor and where it sits"),
    "solar_current_a": (-1.0, 200.0, "check its sign: positive when the sun delivers"),
    "ignition_on": (0.0, 1.0, "it must be 0 or 1"),
}
UNITS = {"v": "V", "a": "A", "c": "°C", "on": ""}


@click.command(short_help="Validate the configuration and read each sensor once.")
@config_option
def check(config_file: Path | None) -> None:
    """Validate the configuration, open each instrument, read it once, and say what to do about what is wrong.

    Ends with 0 when all is well and 1 when something is not.
    """
    config = loaded(config_file)
    rows = [row for source in config.sources for row in _rows(source)]
    missing = {"house_voltage_v", "house_current_a", "starter_voltage_v"} - {row[1] for row in rows}
    advice = {"house_voltage_v": "without it the charge is only counted, never corrected",
              "house_current_a": "without it nothing can be counted: charge, tonight and health stay unknown",
              "starter_voltage_v": "without it the starter battery and the isolator are not watched"}
    _print(rows, [(name, advice[name]) for name in sorted(missing)])
    if any(not row[3] for row in rows):
        sys.exit(1)


def _rows(source) -> list[tuple[str, str, str, bool, str]]:
    """(driver, quantity, value, well?, what to do) for everything one source should give."""
    from drivers.errors import DriverError

    try:
        driver = source.open()
    except DriverError as error:
        return [(source.driver, "", "not there", False, str(error))]
    try:
        reading = driver.read()
    except DriverError as error:
        return [(source.driver, "", "no reading", False, str(error))]
    finally:
        driver.close()
    rows = []
    for quantity, value in reading.values.items():
        low, high, advice = PLAUSIBLE[quantity]
        unit = UNITS[quantity.rpartition("_")[2]]
        well = low <= value <= high
        rows.append((source.driver + (" (simulated)" if reading.simulated else ""), quantity, f"{value:.3f} {unit}".strip(),
                     well, "" if well else advice))
    return rows + [(source.driver, fault.quantity, "failed", False, fault.reason) for fault in reading.faults]


def _print(rows: list[tuple[str, str, str, bool, str]], missing: list[tuple[str, str]]) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table("source", "quantity", "reading", "", "what to do")
    for driver, quantity, value, well, advice in rows:
        table.add_row(driver, quantity, value, "ok" if well else "LOOK", advice)
    for quantity, advice in missing:
        table.add_row("—", quantity, "not configured", "", advice)
    Console(width=None if sys.stdout.isatty() else 140).print(table)
