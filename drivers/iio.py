"""Channels of an analogue-to-digital converter from the kernel's industrial I/O files."""
from pathlib import Path

from pydantic import Field, model_validator

from drivers.channels import Measures, Options
from drivers.hwmon import read_channels
from drivers.kernel_files import Device, number
from drivers.reading import Reading

#: start of a channel's name -> divisor to volt, ampere, watt, degree Celsius: the kernel gives milli of each [1]
DIVISORS = {"in_voltage": 1e3, "in_current": 1e3, "in_power": 1e3, "in_temp": 1e3}


def kind_of(channel: str) -> str:
    """The kind of a channel, as in_voltage; "" for none of them."""
    return next((kind for kind in DIVISORS if channel.startswith(kind)), "")


class IioOptions(Options):
    """Which converter, and which of its channels."""

    device: str = Field(min_length=1, description="text in the converter's name or label file, as ads1015")
    measures: Measures
    root: Path = Path("/sys/bus/iio/devices")

    @model_validator(mode="after")
    def _channels_fit(self) -> "IioOptions":
        for spec in self.measures.values():
            if not kind_of(spec.channel):
                raise ValueError(f"channel {spec.channel!r} is not one of a converter: write in_voltage0, in_current0 or in_temp")
        return self


class IioDriver:
    """One converter.

    [1] Linux kernel documentation, ABI/testing/sysfs-bus-iio: (raw + offset) x scale, in millivolt,
        milliampere, milliwatt, thousandths of a degree; *_input is already scaled. An offset or scale may
        belong to one channel or be shared by its kind; without an offset it is 0, without a scale 1.
    """

    Options = IioOptions

    def __init__(self, options: IioOptions) -> None:
        self._options = options
        self._device = Device(options.root, "iio:device*", options.device, "converter")

    def read(self) -> Reading:
        folder = self._device.folder()
        return read_channels(self._options.measures, lambda channel: value(folder, channel))

    def close(self) -> None:
        """Nothing is held open between readings."""


def value(folder: Path, channel: str) -> float:
    """What a channel shows at its pin [V, A, W or °C]. Raises ReadFailed."""
    kind = kind_of(channel)
    ready = folder / f"{channel}_input"
    if ready.exists():
        return number(ready) / DIVISORS[kind]
    raw = number(folder / f"{channel}_raw")
    return (raw + read_attribute(folder, channel, "offset", 0.0)) * read_attribute(folder, channel, "scale", 1.0) / DIVISORS[kind]


def read_attribute(folder: Path, channel: str, what: str, default: float) -> float:
    """A channel's own offset or scale, or that of its kind.

    folder: of the device; channel: as the kernel names it (voltage0); what: "offset" or "scale"; default: where the kernel gives
    none.
    """
    for name in (f"{channel}_{what}", f"{kind_of(channel)}_{what}"):
        if (folder / name).exists():
            return number(folder / name)
    return default
