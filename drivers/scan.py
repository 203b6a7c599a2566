"""Finds the instruments that are there, for somebody who is about to configure them. Nothing is written to any."""
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from drivers import hwmon, iio
from drivers.errors import ReadFailed
from drivers.kernel_files import number, text, words

UNITS = {"in": "V", "curr": "A", "temp": "°C", "in_voltage": "V", "in_current": "A", "in_temp": "°C"}
#: Families of 1-wire thermometers that the kernel's w1_therm knows.
THERMOMETERS = ("10", "22", "28", "3b", "42")
#: Kind of a network interface that is a CAN bus (Linux, include/uapi/linux/if_arp.h, ARPHRD_CAN).
CAN = "280"


@dataclass(frozen=True, slots=True)
class SeenChannel:
    """One channel: its name in the configuration, its unit, what it shows now (None: nothing), and why."""

    channel: str
    unit: str
    value: float | None
    label: str = ""
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Found:
    """One instrument that is there: its driver, the options that name it, words for a person, its channels."""

    driver: str
    options: dict[str, Any]
    title: str
    channels: tuple[SeenChannel, ...] = ()


def scan(sys: Path = Path("/sys"), dev: Path = Path("/dev")) -> list[Found]:
    """Everything that can be found without asking a bus: kernel chips, 1-wire, serial ports, CAN, GPIO chips.

    Values are those at the pin: a divider's ratio is not known here. What is on an I2C bus is asked with
    drivers.i2c.addresses(), and only when somebody wants it: a question can disturb a chip.
    """
    return [*_hwmon(sys / "class/hwmon"), *_iio(sys / "bus/iio/devices"), *_w1(sys / "bus/w1/devices"),
            *_serial(dev / "serial/by-id"), *_can(sys / "class/net"), *_gpio(dev)]


def _name_devices(root: Path, pattern: str) -> list[tuple[Path, str]]:
    """Each device with the plainest word that means it alone."""
    folders = sorted(root.glob(pattern), key=_natural)
    all_words = [words(folder) for folder in folders]
    counts: dict[str, int] = {}
    for some in all_words:
        for word in some:
            counts[word] = counts.get(word, 0) + 1
    return [(folder, next((word for word in some if counts[word] == 1), folder.name))
            for folder, some in zip(folders, all_words, strict=True)]


def _hwmon(root: Path) -> list[Found]:
    found = []
    for folder, word in _name_devices(root, "hwmon*"):
        channels = []
        for file in sorted(folder.glob("*_input"), key=_natural):
            channel = file.name.removesuffix("_input")
            kind = hwmon.kind_of(channel)
            if kind in UNITS and kind != channel:
                channels.append(_read_channel(channel, UNITS[kind], partial(_hwmon_value, file, kind),
                                              text(folder / f"{channel}_label") or ""))
        if channels:
            found.append(Found("hwmon", {"chip": word}, f"chip {text(folder / 'name') or word}", tuple(channels)))
    return found


def _hwmon_value(file: Path, kind: str) -> float:
    return number(file) / hwmon.DIVISORS[kind]


def _iio(root: Path) -> list[Found]:
    found = []
    for folder, word in _name_devices(root, "iio:device*"):
        names = {re.sub("_(raw|input)$", "", f.name): f for f in folder.glob("in_*") if f.name.endswith(("_raw", "_input"))}
        channels = []
        for channel in sorted(names, key=lambda name: _natural(Path(name))):
            kind = iio.kind_of(channel)
            if kind in UNITS:
                channels.append(_read_channel(channel, UNITS[kind], partial(iio.value, folder, channel),
                                              text(folder / f"{channel}_label") or ""))
        if channels:
            found.append(Found("iio", {"device": word}, f"converter {text(folder / 'name') or word}", tuple(channels)))
    return found


def _w1(root: Path) -> list[Found]:
    """Without a value: asking a sensor takes most of a second."""
    return [Found("w1", {"sensor": folder.name}, f"temperature sensor {folder.name}", (SeenChannel("", "°C", None),))
            for folder in sorted(root.glob("*-*")) if folder.name.partition("-")[0] in THERMOMETERS]


def _serial(root: Path) -> list[Found]:
    return [Found("serial", {"port": str(port)}, f"serial port {port.name}") for port in sorted(root.glob("*"))]


def _can(root: Path) -> list[Found]:
    return [Found("can_rvc", {"channel": folder.name}, f"CAN bus {folder.name}")
            for folder in sorted(root.glob("*")) if text(folder / "type") == CAN]


def _gpio(dev: Path) -> list[Found]:
    return [Found("gpio", {"chip": str(chip)}, f"inputs of {chip.name}") for chip in sorted(dev.glob("gpiochip*"), key=_natural)]


def _read_channel(channel: str, unit: str, value: Callable[[], float], label: str) -> SeenChannel:
    try:
        return SeenChannel(channel, unit, value(), label)
    except ReadFailed as error:
        return SeenChannel(channel, unit, None, label, str(error))


def _natural(path: Path) -> list[tuple[int, str]]:
    """Sorts in2 before in10."""
    return [(int(part), "") if part.isdigit() else (-1, part) for part in re.split(r"(\d+)", path.name)]
