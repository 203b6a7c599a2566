"""The drivers by name; imports one only when asked."""
from importlib import import_module
from typing import Any

from drivers.errors import DriverUnavailable

#: name in the configuration -> (module, class, extra to install, or None where nothing is needed)
DRIVERS: dict[str, tuple[str, str, str | None]] = {
    "simulated": ("drivers.simulated", "SimulatedDriver", None),
    "recorded": ("drivers.recorded", "RecordedDriver", None),
    "hwmon": ("drivers.hwmon", "HwmonDriver", None),
    "iio": ("drivers.iio", "IioDriver", None),
    "w1": ("drivers.w1", "W1Driver", None),
    "serial": ("drivers.serial_text", "SerialTextDriver", "serial"),
    "modbus": ("drivers.modbus", "ModbusDriver", "modbus"),
}


def driver_class(name: str) -> Any:
    """Import one driver. There is no second choice: what was asked for, or an error.

    Raises
    ------
    DriverUnavailable : no driver of that name, or a package it needs is missing
    """
    if name not in DRIVERS:
        raise DriverUnavailable(f"no driver called {name!r}; choose one of {', '.join(sorted(DRIVERS))}")
    module, cls, extra = DRIVERS[name]
    try:
        return getattr(import_module(module), cls)
    except ModuleNotFoundError as error:
        if extra is None or (error.name or "").partition(".")[0] == "drivers":
            raise  # a mistake in our own code must look like one
        raise DriverUnavailable(
            f"driver {name!r} needs the package {error.name}, which is not installed; "
            f"run: pip install 'ampledger[{extra}]'"
        ) from error
