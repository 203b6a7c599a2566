"""A register map over Modbus RTU or TCP; the only file that knows pymodbus."""
import logging
import time
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pymodbus import FramerType, ModbusException
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

from drivers.channels import Options, Quantity
from drivers.errors import ReadFailed, opening
from drivers.hwmon import read_channels
from drivers.reading import Reading

# the library writes its own story of every lost message; ours is in the exception
logging.getLogger("pymodbus").setLevel(logging.CRITICAL)

WordOrder = Literal["big", "little"]
SIZES = {"INT16": 1, "UINT16": 1, "INT32": 2, "UINT32": 2, "FLOAT32": 2, "INT64": 4, "UINT64": 4, "FLOAT64": 4}


class Register(BaseModel):
    """One quantity in the map: value = number x scale x 10^(scale register) + offset.

    invalid lists numbers that mean "not available"; the usual open-standard ones (all bits set for
    unsigned, the most negative for signed, not-a-number for floats) are always taken so.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    address: int = Field(ge=0, le=65535, description="as on the wire, counted from 0")
    function: Literal["holding", "input"] = "holding"
    type: Literal["INT16", "UINT16", "INT32", "UINT32", "FLOAT32", "INT64", "UINT64", "FLOAT64"] = "INT16"
    word_order: WordOrder = "big"
    scale: float = 1.0
    scale_address: int | None = Field(None, ge=0, le=65535, description="register with a decimal exponent (SunSpec scale factor)")
    offset: float = 0.0
    invalid: tuple[float, ...] = ()

    @property
    def channel(self) -> "Register":
        """Itself: what the shared reader hands back."""
        return self

    def convert(self, value: float) -> float:
        """Already converted where it was read."""
        return value

    def unavailable(self, number: float) -> bool:
        """Whether a number means "not available"."""
        bits = 16 * SIZES[self.type]
        if self.type.startswith("FLOAT"):
            return number - number != 0.0 or number in self.invalid
        sentinel = -(1 << (bits - 1)) if self.type.startswith("INT") else (1 << bits) - 1
        return number == sentinel or number in self.invalid


class Place(Options):
    """Where a Modbus device is."""

    host: str | None = Field(None, description="its address on the network")
    tcp_port: int = Field(502, ge=1, le=65535)
    port: str | None = Field(None, description="serial port, as /dev/serial/by-id/…")
    baud: int = Field(19200, ge=300, le=4_000_000)
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: Literal[1, 2] = 1
    device_id: int = Field(1, ge=0, le=255)
    timeout_s: float = Field(0.8, gt=0, le=5, description="a reading takes no longer than this")

    @model_validator(mode="after")
    def _one_place(self) -> "Place":
        if (self.host is None) == (self.port is None):
            raise ValueError('write either host = "…" for TCP or port = "…" for a serial line, one of the two')
        return self


class ModbusOptions(Place):
    """Where the device is, and its map."""

    measures: Annotated[dict[Quantity, Annotated[Register, BeforeValidator(
        lambda value: {"address": value} if isinstance(value, int) else value)]], Field(min_length=1)]


class Refused(ReadFailed):
    """The device answered, but not with registers."""


class Link:
    """The line to one device. A failure closes it, so that a late answer never meets the next question."""

    def __init__(self, place: Place, messages: int = 1) -> None:
        self._place = place
        self._client: ModbusTcpClient | ModbusSerialClient | None = None
        self._share_s = place.timeout_s / messages

    def __str__(self) -> str:
        p = self._place
        return f"{p.host}:{p.tcp_port}" if p.host is not None else str(p.port)

    def connect(self) -> ModbusTcpClient | ModbusSerialClient:
        """The open line; opens it if it is not. Raises ReadFailed."""
        if self._client is not None:
            return self._client
        p = self._place
        client: ModbusTcpClient | ModbusSerialClient
        if p.host is not None:
            client = ModbusTcpClient(p.host, port=p.tcp_port, timeout=self._share_s, retries=0)
        else:
            assert p.port is not None, "Place has one of the two"
            client = ModbusSerialClient(p.port, framer=FramerType.RTU, baudrate=p.baud, parity=p.parity,
                                        stopbits=p.stop_bits, timeout=self._share_s, retries=0)
        try:
            if client.connect():
                self._client = client
                return client
        except (ModbusException, OSError) as error:
            raise ReadFailed(f"{self}: {error}") from error
        client.close()
        raise ReadFailed(f"{self}: no connection; is it switched on, and is the address right?")

    def drop(self) -> None:
        """Close the line."""
        client, self._client = self._client, None
        if client is not None:
            client.close()

    def ask(self, function: str, first: int, count: int) -> list[int]:
        """The words of registers that follow each other. Raises ReadFailed; Refused if the device says no.

        function: Modbus function code, 3 or 4; first: address of the first register; count: how many.
        """
        client = self.connect()
        call = client.read_holding_registers if function == "holding" else client.read_input_registers
        try:
            answer = call(first, count=count, device_id=self._place.device_id)
        except (ModbusException, OSError) as error:
            self.drop()
            raise ReadFailed(f"{self}, register {first}: {error}") from error
        if answer.isError():
            raise Refused(f"{self}, register {first}: the device answered with exception {answer.exception_code}")
        words = list(answer.registers)
        if len(words) != count:
            self.drop()
            raise ReadFailed(f"{self}, register {first}: asked for {count} words, got {len(words)}")
        return words


def number(words: list[int], kind: str, word_order: WordOrder = "big") -> float:
    """The number that words make up.

    words: registers of 16 bits as they came; kind: how they are coded (int16, uint32, float32 ...); word_order: which of several
    words comes first.
    """
    value = ModbusTcpClient.convert_from_registers(words, ModbusTcpClient.DATATYPE[kind], word_order=word_order)
    assert isinstance(value, int | float), "as many words as its kind has make one number"
    return float(value)


class ModbusDriver:
    """One device on a Modbus line (Modbus Application Protocol V1.1b3).

    Registers of one function that follow each other are asked for in one message.
    """

    Options = ModbusOptions

    def __init__(self, options: ModbusOptions) -> None:
        self._options = options
        self._runs = [(function, first, count) for function, addresses in _find_wanted_words(options).items()
                      for first, count in _runs(sorted(addresses))]
        self._link = Link(options, len(self._runs))
        with opening():
            self._link.connect()

    def read(self) -> Reading:
        end_s = time.monotonic() + self._options.timeout_s
        seen: dict[tuple[str, int], int] = {}
        for function, first, count in self._runs:
            if time.monotonic() > end_s:
                raise ReadFailed(f"{self._link}, register {first}: no time left to ask for it")
            for place, word in enumerate(self._link.ask(function, first, count)):
                seen[function, first + place] = word

        def value(register: Register) -> float:
            def decode(address: int, kind: str, order: WordOrder = "big") -> float:
                return number([seen[register.function, address + k] for k in range(SIZES[kind])], kind, order)

            raw = decode(register.address, register.type, register.word_order)
            if register.unavailable(raw):
                raise ReadFailed(f"{self._link}: register {register.address} says that it is not available ({raw:g})")
            exponent = 0.0
            if register.scale_address is not None:
                exponent = decode(register.scale_address, "INT16")
                if not -10 <= exponent <= 10:
                    raise ReadFailed(f"{self._link}: register {register.scale_address} holds no scale factor ({exponent:g})")
            return raw * register.scale * 10**exponent + register.offset

        return read_channels(self._options.measures, value)

    def close(self) -> None:
        self._link.drop()


def _find_wanted_words(options: ModbusOptions) -> dict[str, set[int]]:
    """Function -> addresses of every wanted word."""
    wanted: dict[str, set[int]] = {}
    for register in options.measures.values():
        words = wanted.setdefault(register.function, set())
        words.update(range(register.address, register.address + SIZES[register.type]))
        if register.scale_address is not None:
            words.add(register.scale_address)
    return wanted


def _runs(addresses: list[int], longest: int = 100) -> list[tuple[int, int]]:
    """(first, count) of the runs without holes: many devices refuse to be asked for a register they lack."""
    runs: list[tuple[int, int]] = []
    for address in addresses:
        if runs and address == sum(runs[-1]) and runs[-1][1] < longest:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((address, 1))
    return runs
