"""Voltages, currents and temperatures from the kernel's hardware-monitoring files."""
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Protocol, TypeVar

from pydantic import Field, model_validator

from drivers.channels import Measures, Options, Quantity
from drivers.errors import ReadFailed
from drivers.kernel_files import Device, number
from drivers.reading import Fault, Reading

#: kind of file -> divisor to volt, ampere, watt, degree Celsius [1]
DIVISORS = {"in": 1e3, "curr": 1e3, "power": 1e6, "temp": 1e3}
#: last part of a quantity's name -> the kind of file it can come from
KINDS = {"v": "in", "a": "curr", "c": "temp"}


def kind_of(channel: str) -> str:
    """The kind of a channel: in, curr, power or temp; "" for none of them."""
    return channel.rstrip("0123456789") if channel.rstrip("0123456789") in DIVISORS else ""


class HwmonOptions(Options):
    """Which chip, and which of its channels."""

    chip: str = Field(min_length=1, description="text in the chip's name or label file, as ina226")
    measures: Measures
    root: Path = Path("/sys/class/hwmon")

    @model_validator(mode="after")
    def _channels_fit(self) -> "HwmonOptions":
        for quantity, spec in self.measures.items():
            kind, wanted = kind_of(spec.channel), KINDS.get(quantity.rpartition("_")[2])
            if not kind or kind == spec.channel:
                raise ValueError(f"channel {spec.channel!r} is not one of this kind of chip: write in1, curr1 or temp1")
            if wanted and kind != wanted:
                raise ValueError(f"{quantity} cannot come from {spec.channel!r}; it needs a channel {wanted}1, {wanted}2 …")
        return self


class HwmonDriver:
    """One hwmon chip.

    [1] Linux kernel documentation, "Naming and data format standards for sysfs files"
        (hwmon/sysfs-interface): in*_input in millivolt, curr*_input in milliampere, power*_input in
        microwatt, temp*_input in thousandths of a degree; a channel that is off answers ENODATA.
        Voltage is at the chip's pin: a divider's ratio is ours to know.
    """

    Options = HwmonOptions

    def __init__(self, options: HwmonOptions) -> None:
        self._options = options
        self._device = Device(options.root, "hwmon*", options.chip, "chip")

    def read(self) -> Reading:
        self._folder = self._device.folder()
        return read_channels(self._options.measures, self._value)

    def close(self) -> None:
        """Nothing is held open between readings."""

    def _value(self, channel: str) -> float:
        return number(self._folder / f"{channel}_input") / DIVISORS[kind_of(channel)]


C_co = TypeVar("C_co", covariant=True)
C = TypeVar("C")


class Measured(Protocol[C_co]):
    """Where one quantity comes from: a channel in the driver's own terms, and its scaling."""

    @property
    def channel(self) -> C_co: ...

    def convert(self, value: float) -> float: ...


def read_channels(measures: Mapping[Quantity, Measured[C]], value: Callable[[C], float]) -> Reading:
    """All quantities of one instrument; a channel that fails spoils only its own quantity.

    measures: quantity -> its channel and scaling. value: reads one channel, in the channel's unit.

    Raises
    ------
    ReadFailed : not one of them could be read
    """
    values: dict[str, float] = {}
    faults: list[Fault] = []
    for quantity, spec in measures.items():
        try:
            values[quantity] = spec.convert(value(spec.channel))
        except ReadFailed as error:
            faults.append(Fault(quantity, str(error)))
    if not values:
        raise ReadFailed("; ".join(fault.reason for fault in faults))
    return Reading(values, tuple(faults))
