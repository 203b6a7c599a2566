"""A register map over Modbus RTU or TCP; the only file that knows pymodbus."""
import logging
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator
from pymodbus import FramerType, ModbusException
from pymodbus.client import ModbusSerialClient, ModbusTcpClient

from drivers.channels import Options, Quantity
from drivers.errors import CannotOpen, ReadFailed
from drivers.hwmon import read_channels
from drivers.reading import Reading

# the library writes its own story of every lost message; ours is in the exception
logging.getLogger("pymodbus").setLevel(logging.CRITICAL)

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
    word_order: Literal["big", "little"] = "big"
    scale: float = 1.0
    scale_address: int | None = Field(None, ge=0, le=65535, description="register with a decimal exponent (SunSpec scale factor)")
    offset: float = 0.0
    invalid: tuple[float, ...] = ()

    @property
    def channel(self) -> "Register":
        """Itself: what the shared reader hands back."""
        return self

    def converted(self, value: float) -> float:
        """Already converted where it was read."""
        return value

    def unavailable(self, number: float) -> bool:
        """Whether a number means "not available"."""
        bits = 16 * SIZES[self.type]
        if self.type.startswith("FLOAT"):
            return number - number != 0.0 or number in self.invalid
        sentinel = -(1 << (bits - 1)) if self.type.startswith("INT") else (1 << bits) - 1
        return number == sentinel or number in self.invalid


class ModbusOptions(Options):
    """Where the device is, and its map."""

    host: str | None = None
    tcp_port: int = Field(502, ge=1, le=65535)
    port: str | None = Field(None, description="serial port, as /dev/serial/by-id/…")
    baud: int = Field(19200, ge=300, le=4_000_000)
    parity: Literal["N", "E", "O"] = "N"
    stop_bits: Literal[1, 2] = 1
    device_id: int = Field(1, ge=0, le=255)
    timeout_s: float = Field(0.8, gt=0, le=5)
    measures: Annotated[dict[Quantity, Annotated[Register, BeforeValidator(
        lambda value: {"address": value} if isinstance(value, int) else value)]], Field(min_length=1)]

    @model_validator(mode="after")
    def _one_place(self) -> "ModbusOptions":
        if (self.host is None) == (self.port is None):
            raise ValueError('write either host = "…" for TCP or port = "…" for a serial line, one of the two')
        return self


class ModbusDriver:
    """One device on a Modbus line (Modbus Application Protocol V1.1b3).

    Registers of one function that follow each other are asked for in one message.
    """

    Options = ModbusOptions

    def __init__(self, options: ModbusOptions) -> None:
        self._options, self._client = options, None
        try:
            self._connect()
        except ReadFailed as error:
            raise CannotOpen(str(error)) from error

    def read(self) -> Reading:
        if self._client is None:
            self._connect()
        try:
            seen = self._blocks()
        except ReadFailed:
            self._drop()
            raise

        def value(register: Register) -> float:
            number = self._number(register, seen, register.address, register.type)
            if register.unavailable(number):
                raise ReadFailed(f"{self._where()}: register {register.address} says that it is not available ({number:g})")
            exponent = 0.0
            if register.scale_address is not None:
                exponent = self._number(register, seen, register.scale_address, "INT16")
                if not -10 <= exponent <= 10:
                    raise ReadFailed(f"{self._where()}: register {register.scale_address} holds no scale factor ({exponent:g})")
            return number * register.scale * 10**exponent + register.offset

        return read_channels(self._options.measures, value)

    def close(self) -> None:
        self._drop()

    def _connect(self) -> None:
        o = self._options
        if o.host is not None:
            client = ModbusTcpClient(o.host, port=o.tcp_port, timeout=o.timeout_s, retries=0)
        else:
            client = ModbusSerialClient(o.port, framer=FramerType.RTU, baudrate=o.baud, parity=o.parity,
                                        stopbits=o.stop_bits, timeout=o.timeout_s, retries=0)
        try:
            if client.connect():
                self._client = client
                return
        except (ModbusException, OSError) as error:
            raise ReadFailed(f"{self._where()}: {error}") from error
        client.close()
        raise ReadFailed(f"{self._where()}: no connection")

    def _drop(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            client.close()

    def _where(self) -> str:
        o = self._options
        return f"{o.host}:{o.tcp_port}" if o.host is not None else str(o.port)

    def _blocks(self) -> dict[tuple[str, int], int]:
        """Every wanted register's word, asked for in as few messages as the map allows."""
        wanted: dict[str, set[int]] = {}
        for register in self._options.measures.values():
            words = wanted.setdefault(register.function, set())
            words.update(range(register.address, register.address + SIZES[register.type]))
            if register.scale_address is not None:
                words.add(register.scale_address)
        seen: dict[tuple[str, int], int] = {}
        for function, addresses in wanted.items():
            for first, count in _runs(sorted(addresses)):
                for place, word in enumerate(self._ask(function, first, count)):
                    seen[function, first + place] = word
        return seen

    def _ask(self, function: str, first: int, count: int) -> list[int]:
        ask = self._client.read_holding_registers if function == "holding" else self._client.read_input_registers
        try:
            answer = ask(first, count=count, device_id=self._options.device_id)
        except (ModbusException, OSError) as error:
            raise ReadFailed(f"{self._where()}, register {first}: {error}") from error
        if answer.isError():
            raise ReadFailed(f"{self._where()}, register {first}: the device answered with exception {answer.exception_code}")
        if len(answer.registers) != count:
            raise ReadFailed(f"{self._where()}, register {first}: asked for {count} words, got {len(answer.registers)}")
        return answer.registers

    def _number(self, register: Register, seen: dict[tuple[str, int], int], address: int, kind: str) -> float:
        words = [seen[register.function, address + k] for k in range(SIZES[kind])]
        client = self._client
        return float(client.convert_from_registers(words, client.DATATYPE[kind], word_order=register.word_order))


def _runs(addresses: list[int], longest: int = 100) -> list[tuple[int, int]]:
    """(first, count) of the runs without holes: many devices refuse to be asked for a register they lack."""
    runs: list[tuple[int, int]] = []
    for address in addresses:
        if runs and address == sum(runs[-1]) and runs[-1][1] < longest:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((address, 1))
    return runs
