"""A temperature from a 1-wire sensor through the kernel's files."""
import re
from pathlib import Path
from typing import Annotated

from pydantic import Field

from drivers.channels import Options, Quantity
from drivers.errors import CannotOpen, ReadFailed
from drivers.kernel_files import number
from drivers.reading import Reading

#: What a sensor shows when it was just switched on, and when its supply is too weak [1].
POWER_ON_C, WEAK_SUPPLY_C = 85.0, 127.94
#: A true 85 °C is approached; one that is further than this from the reading before is the power-on value.
NEAR_K = 10.0


class W1Options(Options):
    """Which sensor, and which temperature it takes."""

    sensor: str = Field(pattern=r"^[0-9a-f]{2}-[0-9a-f]{12}$", description="the sensor's folder, as 28-000000000001")
    measures: Annotated[Quantity, Field(description='the quantity it takes, as "house_temperature_c"')]
    root: Path = Path("/sys/bus/w1/devices")
    timeout_s: float = Field(0.95, gt=0, le=5, description="a conversion takes up to 0.75 s")


class W1Driver:
    """One sensor of the w1_therm family.

    [1] Linux kernel documentation, w1/slaves/w1_therm: w1_slave has two lines, the first ending in YES or NO
        for its checksum, the second in t= with thousandths of a degree, and KEEPS SHOWING THE LAST GOOD
        VALUE when the checksum failed. 85.00 °C is the value after power-on, 127.94 °C insufficient supply.
    """

    Options = W1Options

    def __init__(self, options: W1Options) -> None:
        self._options = options
        self._folder = options.root / options.sensor
        self._before_c: float | None = None
        if not self._folder.is_dir():
            there = ", ".join(sorted(p.name for p in options.root.glob("[0-9a-f][0-9a-f]-*"))) or "none"
            raise CannotOpen(f"no sensor {options.sensor} under {options.root}; there is: {there}")

    def read(self) -> Reading:
        slave = self._folder / "w1_slave"
        value_c = self._read_slave_c(slave) if slave.exists() else number(self._folder / "temperature") / 1000
        if abs(value_c - WEAK_SUPPLY_C) < 0.01:
            raise ReadFailed(f"{self._folder.name}: 127.94 °C means that its supply is too weak; check the wiring")
        if abs(value_c - POWER_ON_C) < 0.01 and (self._before_c is None or abs(self._before_c - POWER_ON_C) > NEAR_K):
            raise ReadFailed(f"{self._folder.name}: 85 °C out of nowhere is what it shows after power-on, not a temperature")
        self._before_c = value_c
        return Reading({self._options.measures: value_c})

    def close(self) -> None:
        """Nothing is held open between readings."""

    def _read_slave_c(self, slave: Path) -> float:
        try:
            lines = slave.read_text(encoding="ascii").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            raise ReadFailed(f"{slave}: {getattr(error, 'strerror', None) or error}") from error
        if len(lines) < 2 or not lines[0].rstrip().endswith(("YES", "NO")):
            raise ReadFailed(f"{slave}: {' / '.join(lines)[:80]!r} is not two lines with a checksum")
        if lines[0].rstrip().endswith("NO"):
            raise ReadFailed(f"{slave}: checksum failed; the value it still shows is an old one")
        found = re.search(r"t=(-?\d+)\s*$", lines[1])
        if not found:
            raise ReadFailed(f"{slave}: no temperature in {lines[1][:60]!r}")
        return int(found.group(1)) / 1000
