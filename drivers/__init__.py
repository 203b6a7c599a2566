"""The drivers by name; imports one only when asked."""
from importlib import import_module
from typing import Any

from drivers.errors import DriverUnavailable
from drivers.extras import install_command

#: name in the configuration -> (module, class, extra to install, or None where nothing is needed)
DRIVERS: dict[str, tuple[str, str, str | None]] = {
    "simulated": ("drivers.simulated", "SimulatedDriver", None),
    "recorded": ("drivers.recorded", "RecordedDriver", None),
    "hwmon": ("drivers.hwmon", "HwmonDriver", None),
    "iio": ("drivers.iio", "IioDriver", None),
    "iio_fast": ("drivers.iio_fast", "IioFastDriver", None),
    "w1": ("drivers.w1", "W1Driver", None),
    "serial": ("drivers.serial_text", "SerialTextDriver", "serial"),
    "modbus": ("drivers.modbus", "ModbusDriver", "modbus"),
    "sunspec": ("drivers.sunspec", "SunspecDriver", "modbus"),
    "i2c": ("drivers.i2c", "I2cDriver", "i2c"),
    "can_rvc": ("drivers.can_rvc", "CanRvcDriver", "can"),
    "gpio": ("drivers.gpio", "GpioDriver", "gpio"),
    "mqtt": ("drivers.mqtt", "MqttDriver", "mqtt"),
}


#: Where other packages offer drivers of theirs: docs/writing-a-driver.md.
GROUP = "ampledger.drivers"


def driver_class(name: str) -> Any:
    """Import one driver. There is no second choice: what was asked for, or an error.

    Ours come first; then those that installed packages offer as entry points of the group "ampledger.drivers".

    Raises
    ------
    DriverUnavailable : no driver of that name, or a package it needs is missing
    """
    if name not in DRIVERS:
        return _foreign(name)
    module, cls, extra = DRIVERS[name]
    try:
        return getattr(import_module(module), cls)
    except ModuleNotFoundError as error:
        if extra is None or (error.name or "").partition(".")[0] == "drivers":
            raise  # a mistake in our own code must look like one
        raise DriverUnavailable(
            f"driver {name!r} needs the package {error.name}, which is not installed; "
            f"run: {install_command(extra)}"
        ) from error


def _foreign(name: str) -> Any:
    from importlib.metadata import EntryPoint, entry_points  # an import that a start need not wait for

    offers = {point.name: point for point in entry_points(group=GROUP)}
    point: EntryPoint | None = offers.get(name)
    if point is None:
        raise DriverUnavailable(f"no driver called {name!r}; choose one of {', '.join(sorted({*DRIVERS, *offers}))}")
    package = point.dist.name if point.dist else point.value
    try:
        cls = point.load()
    except Exception as error:  # another's code may fail in any way when it is imported
        raise DriverUnavailable(f"driver {name!r} of the package {package} cannot be imported: {error}") from error
    lacking = [part for part in ("Options", "read", "close") if not hasattr(cls, part)]
    if lacking:
        raise DriverUnavailable(f"driver {name!r} of the package {package} lacks {', '.join(lacking)}; "
                                "`ampledger docs writing-a-driver` says what a driver has")
    return cls
