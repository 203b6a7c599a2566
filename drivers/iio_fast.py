"""The starter voltage at 20 Hz or more from a converter's buffer in the kernel, for a verdict on each engine start."""
import os
import re
import select
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from drivers.channels import AnyChannel, Options
from drivers.errors import ReadFailed, opening
from drivers.iio import DIVISORS, read_attribute
from drivers.kernel_files import Device, number, text
from drivers.reading import Reading
from drivers.start_trace import SLOWEST_HZ, StartTrace

#: be or le, s or u, bits used and stored, bits below them [1].
TYPE = re.compile(r"(?P<end>[bl])e:(?P<sign>[su])(?P<bits>\d+)/(?P<stored>8|16|32|64)(?:>>(?P<shift>\d+))?")


class IioFastOptions(Options):
    """Which converter and trigger, how fast, and which channel."""

    device: str = Field(min_length=1, description="the converter's name, label or place, as ads1015")
    trigger: str | None = Field(None, description="name of the trigger that starts conversions; where the converter needs one")
    frequency_hz: float = Field(50.0, ge=SLOWEST_HZ, le=1000, description="readings a second")
    measures: Annotated[dict[Literal["starter_voltage_v"], AnyChannel], Field(
        min_length=1, description='a table [source.measures] with starter_voltage_v = "in_voltage0"')]
    root: Path = Path("/sys/bus/iio/devices")
    dev: Path = Path("/dev")

    @model_validator(mode="after")
    def _channel_fits(self) -> "IioFastOptions":
        channel = self.measures["starter_voltage_v"].channel
        if not channel.startswith("in_voltage"):
            raise ValueError(f"channel {channel!r} is no voltage of a converter: write in_voltage0")
        return self


@dataclass(frozen=True, slots=True)
class Layout:
    """Where one channel stands in a scan."""

    size: int           # bytes of a whole scan
    place: int
    width: int          # bytes of the channel
    order: Literal["big", "little"]
    signed: bool
    bits: int
    shift: int

    def raw(self, scan: bytes) -> int:
        """The channel's number."""
        value = int.from_bytes(scan[self.place:self.place + self.width], self.order) >> self.shift & (1 << self.bits) - 1
        return value - (1 << self.bits) if self.signed and value >> self.bits - 1 else value


class IioFastDriver:
    """One channel of one converter, buffered by the kernel between readings.

    Opening it writes to the converter's settings (which channel, trigger, speed, buffer): this user must be allowed to.

    [1] Linux kernel documentation, "Buffers" of the industrial I/O subsystem, and ABI/testing/sysfs-bus-iio:
        scan_elements/*_en, *_index and *_type as [be|le]:[s|u]bits/storagebits>>shift; in a scan each channel is
        aligned to its own size, in order of index.
    """

    Options = IioFastOptions

    def __init__(self, options: IioFastOptions) -> None:
        self._options, self._spec = options, options.measures["starter_voltage_v"]
        self._device = Device(options.root, "iio:device*", options.device, "converter")
        self._file = -1
        with opening():
            self._open()

    def read(self) -> Reading:
        if self._file < 0:
            self._open()
        try:
            scans = self._scans(time.monotonic() + self._options.timeout_s)
        except ReadFailed:
            self.close()
            raise
        trace: tuple[tuple[float, float], ...] = ()
        voltage_v = 0.0
        for scan in scans:
            pin = (self._layout.raw(scan) + self._offset) * self._scale / DIVISORS["in_voltage"]
            voltage_v = self._spec.convert(pin)
            trace = self._starts.add(voltage_v) or trace
        return Reading({"starter_voltage_v": voltage_v}, fast_starter=trace)

    def close(self) -> None:
        file, self._file = self._file, -1
        if file >= 0:
            with suppress(ReadFailed):  # it is gone
                _write(self._folder / "buffer/enable", "0")
            os.close(file)

    def _open(self) -> None:
        self._folder = self._device.folder()
        file = self._options.dev / self._folder.name
        try:
            # first of all: the kernel lets one program have it, and its settings are not ours before that
            self._file = os.open(file, os.O_RDONLY | os.O_NONBLOCK)
        except OSError as error:
            raise ReadFailed(f"{file}: {error.strerror}; does another program hold it, and may this user read it?") from error
        try:
            frequency_hz = self._set_up()
        except ReadFailed:
            self.close()
            raise
        self._rest, self._starts = b"", StartTrace(frequency_hz)

    def _set_up(self) -> float:
        """Switch the channel and the buffer on; returns how many readings a second there will be."""
        o, channel = self._options, self._spec.channel
        elements = self._folder / "scan_elements"
        if not (elements / f"{channel}_en").exists():
            there = ", ".join(sorted(f.name.removesuffix("_en") for f in elements.glob("in_*_en"))) or "none"
            raise ReadFailed(f"{elements}: no channel {channel} can be buffered; there is: {there}")
        _write(self._folder / "buffer/enable", "0")
        for other in elements.glob("*_en"):
            _write(other, "1" if other.name == f"{channel}_en" else "0")
        if o.trigger is not None:
            _write(self._folder / "trigger/current_trigger", o.trigger)
        speed = self._speed_file()
        _write(speed, f"{o.frequency_hz:g}")
        frequency_hz = number(speed)  # the chip takes the nearest it can
        if frequency_hz < SLOWEST_HZ:
            raise ReadFailed(f"{speed}: {frequency_hz:g} Hz is too slow to see an engine start; {SLOWEST_HZ:g} are needed")
        self._room = int(frequency_hz * 8)
        _write(self._folder / "buffer/length", str(self._room))
        self._layout = layout(elements, channel)
        self._scale = read_attribute(self._folder, channel, "scale", 1.0)
        self._offset = read_attribute(self._folder, channel, "offset", 0.0)
        _write(self._folder / "buffer/enable", "1")
        return frequency_hz

    def _speed_file(self) -> Path:
        o = self._options
        for folder in [self._folder, *self._options.root.glob("trigger*")]:
            is_trigger = folder != self._folder
            if (folder / "sampling_frequency").exists() and (not is_trigger or text(folder / "name") == o.trigger):
                return folder / "sampling_frequency"
        raise ReadFailed(f"{self._folder}: neither the converter nor its trigger says how fast it samples; name the trigger")

    def _scans(self, end_s: float) -> list[bytes]:
        """Whole scans since the last reading; at least one."""
        file, size = self._options.dev / self._folder.name, self._layout.size
        data = self._rest
        while True:
            try:
                more = os.read(self._file, 1 << 16)
            except BlockingIOError:
                more = None
            except OSError as error:
                raise ReadFailed(f"{file}: {error.strerror}") from error
            if more == b"":
                raise ReadFailed(f"{file}: it is gone")
            data += more or b""
            if more is None:
                if len(data) >= size:
                    break
                left_s = end_s - time.monotonic()
                if left_s <= 0 or not select.select([self._file], [], [], left_s)[0]:
                    raise ReadFailed(f"{file}: no reading came in time; does the trigger run?")
        whole = len(data) // size
        self._rest = data[whole * size:]
        if whole >= self._room:  # the buffer was full, what came later is lost: not one stretch any more
            self._starts = StartTrace(number(self._speed_file()))
        return [data[k * size:(k + 1) * size] for k in range(whole)]


def layout(elements: Path, channel: str) -> Layout:
    """Where a channel stands among those that are switched on in a scan_elements folder. Raises ReadFailed."""
    found = []
    for switch in elements.glob("*_en"):
        name = switch.name.removesuffix("_en")
        if number(switch) == 1:
            kind = TYPE.fullmatch(text(elements / f"{name}_type") or "")
            if kind is None:
                raise ReadFailed(f"{elements / name}_type: {text(elements / f'{name}_type')!r} is not of a kind known here")
            found.append((number(elements / f"{name}_index"), name, kind))
    place, widest, mine = 0, 1, None
    for _, name, kind in sorted(found, key=lambda f: f[0]):
        size = int(kind["stored"]) // 8
        place += -place % size
        if name == channel:
            mine = place, size, kind
        place, widest = place + size, max(widest, size)
    if mine is None:
        raise ReadFailed(f"{elements}: {channel} could not be switched on")
    at, size, kind = mine
    return Layout(place + -place % widest, at, size, "big" if kind["end"] == "b" else "little", kind["sign"] == "s",
                  int(kind["bits"]), int(kind["shift"] or 0))


def _write(path: Path, value: str) -> None:
    try:
        path.write_text(value)
    except OSError as error:
        raise ReadFailed(f"{path}: {error.strerror}; may this user write it?") from error
