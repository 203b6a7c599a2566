"""Registers of a converter or shunt-monitor chip, straight over I2C; the only file that knows smbus2."""
import errno
import fcntl
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Annotated, Any, Literal

import smbus2
from pydantic import BaseModel, ConfigDict, Field, model_validator

from drivers.channels import Options, Quantity
from drivers.errors import CannotOpen, ReadFailed, opening
from drivers.hwmon import read_channels
from drivers.reading import Reading

#: Sets an adapter's patience in hundredths of a second (Linux, include/uapi/linux/i2c-dev.h).
I2C_TIMEOUT = 0x0702


class Word(BaseModel):
    """A configuration word: written when the chip is opened, and compared before each reading.

    A chip that was without supply for a moment forgets its configuration and then answers in another scale.
    mask has a 1 for each bit that must read back as written; bits that the chip changes by itself get a 0.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    register_: int = Field(alias="register", ge=0, le=255)
    value: int = Field(ge=0)
    mask: int | None = Field(None, ge=0, description="bits that read back as written; all of them if not given")
    width: Literal[1, 2, 3, 4] = Field(2, description="bytes")
    byte_order: Literal["big", "little"] = "big"

    @model_validator(mode="after")
    def _fits(self) -> "Word":
        if max(self.value, self.mask or 0) >= 1 << 8 * self.width:
            raise ValueError(f"value or mask does not fit into {self.width} bytes")
        return self

    def bytes_(self) -> bytes:
        """As they go over the wire."""
        return self.value.to_bytes(self.width, self.byte_order)

    def same(self, seen: bytes) -> bool:
        """Whether what was read back is what was written."""
        mask = (1 << 8 * self.width) - 1 if self.mask is None else self.mask
        return (int.from_bytes(seen, self.byte_order) ^ self.value) & mask == 0


class Register(BaseModel):
    """One quantity: value = (number >> shift) x scale + offset, number being `width` bytes of a register.

    select is written first, where one register serves several inputs, and given wait_s to convert.
    A number at the end of its range is refused: the chip is saturated. invalid lists further ones.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    register_: int = Field(alias="register", ge=0, le=255)
    width: Literal[1, 2, 3, 4] = Field(2, description="bytes")
    signed: bool = True
    byte_order: Literal["big", "little"] = "big"
    shift: int = Field(0, ge=0, le=24, description="bits below the number that are something else")
    scale: float = Field(description="volt, ampere or degree for one count; negative turns the sign round")
    offset: float = 0.0
    invalid: tuple[int, ...] = ()
    select: Word | None = None
    wait_s: float = Field(0.0, ge=0, le=1)

    @property
    def channel(self) -> "Register":
        """Itself: what the shared reader hands back."""
        return self

    def convert(self, value: float) -> float:
        """Already converted where it was read."""
        return value

    def number(self, seen: bytes) -> int:
        """The count in a register's bytes."""
        return int.from_bytes(seen, self.byte_order, signed=self.signed) >> self.shift

    def why_invalid(self, number: int) -> str:
        """Why a count is no measurement; "" if it is one."""
        bits = 8 * self.width - self.shift - self.signed
        ends = {(1 << bits) - 1, -(1 << bits)} if self.signed else {(1 << bits) - 1}
        if number in ends:
            return "at the end of its range: the chip is saturated or not there"
        return "one that means invalid" if number in self.invalid else ""


Registers = Annotated[dict[Quantity, Register], Field(
    min_length=1, description="tables such as house_voltage_v = { register = 2, scale = 0.004 }")]


class I2cOptions(Options):
    """Which bus, which chip, how it is set up and what is read from it."""

    bus: int = Field(ge=0, le=255, description="1 for /dev/i2c-1")
    address: int = Field(ge=0x08, le=0x77, description="the chip's seven-bit address, as 0x40")
    setup: tuple[Word, ...] = ()
    measures: Registers

    @model_validator(mode="after")
    def _in_time(self) -> "I2cOptions":
        waits_s = sum(register.wait_s for register in self.measures.values())
        if waits_s >= self.timeout_s:
            raise ValueError(f"the waits add up to {waits_s:g} s, which timeout_s = {self.timeout_s:g} leaves no room for")
        return self


def kernel_bus(options: I2cOptions) -> smbus2.SMBus:
    """The kernel's i2c-dev, which gives up on a held line within half a reading's time."""
    bus = smbus2.SMBus(options.bus)
    try:
        assert bus.fd is not None, "a bus that was given its number is open"
        fcntl.ioctl(bus.fd, I2C_TIMEOUT, max(1, int(options.timeout_s * 50)))
    except OSError:
        bus.close()
        raise
    return bus


class I2cDriver:
    """One chip, described by its registers.

    `opener` gives the bus: the kernel's i2c-dev through smbus2, or an object with the same calls in a test.
    Nothing here has been seen by a real chip in our tests; the bus in them is our own stand-in.
    """

    Options = I2cOptions

    def __init__(self, options: I2cOptions, opener: Callable[[I2cOptions], Any] | None = None) -> None:
        self._options, self._opener = options, opener or kernel_bus
        self._bus: Any = None
        with opening():
            self._open()

    def read(self) -> Reading:
        end_s = time.monotonic() + self._options.timeout_s
        if self._bus is None:
            self._open()
        try:
            self._take_turn(end_s)
            self._check_setup()
            return read_channels(self._options.measures, lambda register: self._value(register, end_s))
        except ReadFailed:
            self._drop()  # and set the chip up anew on the next reading
            raise
        finally:
            self._leave_turn()

    def close(self) -> None:
        self._drop()

    def _open(self) -> None:
        try:
            self._bus = self._opener(self._options)
        except (OSError, ValueError) as error:
            self._drop()
            raise ReadFailed(f"/dev/i2c-{self._options.bus}: {getattr(error, 'strerror', None) or error}; "
                             "is I2C switched on, and may this user open it?") from error
        try:
            for word in self._options.setup:
                self._write(word)
            self._check_setup()
        except ReadFailed:
            self._drop()
            raise

    def _drop(self) -> None:
        bus, self._bus = self._bus, None
        if bus is not None:
            with suppress(OSError):
                bus.close()

    def _take_turn(self, end_s: float) -> None:
        """Between choosing an input and reading it nobody else of ours (`ampledger check`) may choose another."""
        file = getattr(self._bus, "fd", None)
        while isinstance(file, int):
            try:
                return fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                if time.monotonic() > end_s:
                    raise ReadFailed(f"{self._where()}: another program did not let go of the bus") from None
                time.sleep(0.002)

    def _leave_turn(self) -> None:
        file = getattr(self._bus, "fd", None)
        if isinstance(file, int):
            fcntl.flock(file, fcntl.LOCK_UN)

    def _check_setup(self) -> None:
        for word in self._options.setup:
            seen = self._bytes(word.register_, word.width)
            if not word.same(seen):
                raise ReadFailed(f"{self._where()}, register {word.register_:#04x}: holds {seen.hex()}, not the "
                                 f"{word.bytes_().hex()} that was written; did the chip lose its supply?")

    def _value(self, register: Register, end_s: float) -> float:
        if time.monotonic() + register.wait_s > end_s:
            raise ReadFailed(f"{self._where()}, register {register.register_:#04x}: no time left")
        if register.select is not None:
            self._write(register.select)
        if register.wait_s:
            time.sleep(register.wait_s)
        number = register.number(self._bytes(register.register_, register.width))
        if why := register.why_invalid(number):
            raise ReadFailed(f"{self._where()}, register {register.register_:#04x}: {number} is {why}")
        return number * register.scale + register.offset

    def _bytes(self, register: int, width: int) -> bytes:
        try:
            seen = bytes(self._bus.read_i2c_block_data(self._options.address, register, width))
        except OSError as error:
            raise ReadFailed(f"{self._where()}, register {register:#04x}: {error.strerror or error}") from error
        if len(seen) != width:
            raise ReadFailed(f"{self._where()}, register {register:#04x}: {len(seen)} bytes of {width}")
        return seen

    def _write(self, word: Word) -> None:
        try:
            self._bus.write_i2c_block_data(self._options.address, word.register_, list(word.bytes_()))
        except OSError as error:
            raise ReadFailed(f"{self._where()}, register {word.register_:#04x}: {error.strerror or error}") from error

    def _where(self) -> str:
        return f"/dev/i2c-{self._options.bus}, chip {self._options.address:#04x}"


def addresses(bus: int, opener: Callable[[int], Any] = smbus2.SMBus) -> dict[int, str]:
    """Address -> "free" or "taken by the kernel", of everything that answers on a bus. Only when asked for.

    Each address is asked for one byte. Most chips do not mind; some take a question for a command, so this is never
    done unasked. What the kernel has taken is better read through hwmon or iio.

    Raises
    ------
    CannotOpen : there is no such bus
    """
    try:
        line = opener(bus)
    except OSError as error:
        raise CannotOpen(f"/dev/i2c-{bus}: {error.strerror or error}; is I2C switched on, and may this user open it?") from error
    found: dict[int, str] = {}
    try:
        for address in range(0x08, 0x78):
            try:
                line.read_byte(address)
                found[address] = "free"
            except OSError as error:
                if error.errno == errno.EBUSY:
                    found[address] = "taken by the kernel"
    finally:
        line.close()
    return found
