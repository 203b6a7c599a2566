"""Stand-ins of our own where no real other end can be had without hardware: an I2C bus and a GPIO line."""
import errno
from pathlib import Path
from typing import Any

from gpiod.line import Value

from drivers.gpio import GpioDriver
from drivers.i2c import I2cDriver


class I2cBus:
    """One chip on a bus, as bytes in registers; absent, it does not acknowledge, as the kernel says it."""

    def __init__(self, chip: "I2cChip") -> None:
        self._chip, self.closed = chip, False
        if not chip.there:
            raise FileNotFoundError(errno.ENOENT, "No such file or directory")

    def _check(self, address: int) -> None:
        assert not self.closed
        if self._chip.how == "late":
            raise TimeoutError(errno.ETIMEDOUT, "Connection timed out")
        if not self._chip.there or address != 0x23 or self._chip.how == "silence":
            raise OSError(errno.EREMOTEIO, "Remote I/O error")

    def read_byte(self, address: int) -> int:
        if address == 0x48:
            raise OSError(errno.EBUSY, "Device or resource busy")
        self._check(address)
        return 0

    def read_i2c_block_data(self, address: int, register: int, length: int) -> list[int]:
        self._check(address)
        data = self._chip.registers[register][:length]
        if self._chip.how == "garbage":  # a line that is held high
            data = b"\xff" * length
        return list(data[:length // 2] if self._chip.how == "half" else data)

    def write_i2c_block_data(self, address: int, register: int, data: list[int]) -> None:
        self._check(address)
        self._chip.write(register, bytes(data))

    def close(self) -> None:
        self.closed = True


class I2cChip:
    """An invented chip: 0x30 configuration, 0x31 volts of 3 mV, 0x33 amperes of 7 mA, signed, once the configuration says so."""

    shows = {"house_voltage_v": 12.651, "house_current_a": -12.341}
    other = {"house_voltage_v": 14.4, "house_current_a": 35.0}
    within = 1e-6
    SETUP = 0xBEEF

    def __init__(self, root: Path | None = None) -> None:
        chip = self

        class OnStandIn(I2cDriver):
            def __init__(self, options: Any) -> None:
                super().__init__(options, opener=lambda bus: I2cBus(chip))

        self.driver = OnStandIn
        self.there, self.how = True, ""
        self.power_up()
        self.options = I2cDriver.Options.model_validate({
            "bus": 1, "address": 0x23, "setup": [{"register": 0x30, "value": self.SETUP}], "measures": {
                "house_voltage_v": {"register": 0x31, "scale": 0.003, "signed": False},
                "house_current_a": {"register": 0x33, "scale": 0.007}}})

    def power_up(self) -> None:
        """Forget the configuration, and answer in twice the scale until there is one."""
        self.registers = {0x30: b"\x00\x00"}
        self.show(self.shows)

    def write(self, register: int, data: bytes) -> None:
        self.registers[register] = data
        self.show(self.now)

    def show(self, values: dict[str, float]) -> None:
        self.now = values
        factor = 1 if self.registers[0x30] == self.SETUP.to_bytes(2, "big") else 2
        self.registers[0x31] = round(values["house_voltage_v"] / 0.003 * factor).to_bytes(2, "big")
        self.registers[0x33] = round(values["house_current_a"] / 0.007 * factor).to_bytes(2, "big", signed=True)

    def trouble(self, how: str) -> bool:
        self.how = how
        return how != "checksum"  # this bus carries none

    def mend(self) -> None:
        self.how = ""

    def leave(self) -> bool:
        self.there = False
        return True

    def come_back(self) -> None:
        self.there = True
        self.power_up()


class GpioLine:
    """Line 17 of a chip; active low, as wired behind an opto-coupler: the level is turned round by the kernel."""

    shows, other, within = {"ignition_on": 1.0}, {"ignition_on": 0.0}, 0.0

    def __init__(self, root: Path | None = None) -> None:
        line = self

        class Request:
            def get_value(self, offset: int) -> Value:
                if not line.there or line.how == "silence":
                    raise OSError(errno.ENODEV, "No such device")
                return Value.ACTIVE if line.now["ignition_on"] else Value.INACTIVE

            def release(self) -> None: ...

        def request_lines(path: str, config: dict, consumer: str) -> Request:
            if not line.there or path != "/dev/gpiochip0":
                raise FileNotFoundError(errno.ENOENT, "No such file or directory")
            (offset, line.settings), = config.items()
            assert offset == 17
            return Request()

        class OnStandIn(GpioDriver):
            def __init__(self, options: Any) -> None:
                super().__init__(options, requester=request_lines)

        self.driver = OnStandIn
        self.there, self.how, self.now = True, "", self.shows
        self.options = GpioDriver.Options.model_validate({"measures": {"ignition_on": {"line": 17, "active_low": True}}})

    def show(self, values: dict[str, float]) -> None:
        self.now = values

    def trouble(self, how: str) -> bool:
        self.how = how
        return how == "silence"

    def mend(self) -> None:
        self.how = ""

    def leave(self) -> bool:
        self.there = False
        return True

    def come_back(self) -> None:
        self.there = True
