"""The DC source status groups of an RV-C network; the only file that knows python-can."""
import logging
import time
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Any, Literal

import can
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from drivers.channels import Options, Quantity
from drivers.errors import ReadFailed, opening
from drivers.reading import Fault, Reading

# the library writes its own story of every lost frame; ours is in the exception
logging.getLogger("can").setLevel(logging.CRITICAL)

#: Group numbers: DC_SOURCE_STATUS_1 (volts, amperes) and DC_SOURCE_STATUS_2 (temperature) [1].
STATUS_1, STATUS_2 = 0x1FFFD, 0x1FFFC
#: last part of a quantity's name -> group, first byte, number of bytes, step, start [1]
FIELDS = {"v": (STATUS_1, 2, 2, 0.05, 0.0), "a": (STATUS_1, 4, 4, 0.001, -2_000_000.0), "c": (STATUS_2, 2, 2, 0.03125, -273.0)}
LONGEST_BATCH = 2000


class Place(BaseModel):
    """Which instance of DC source, and what its value is multiplied by.

    instance: 1 main house battery, 2 chassis start battery, 3 secondary house battery [1].
    source_address: listen to this one device only; otherwise the one of highest priority that was heard counts.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    instance: int = Field(ge=1, le=250)
    source_address: int | None = Field(None, ge=0, le=253)
    scale: float = Field(1.0, description="factor; -1 turns the sign round")
    offset: float = Field(0.0, description="added last, in the quantity's unit")


Places = Annotated[
    dict[Quantity, Annotated[Place, BeforeValidator(lambda v: {"instance": v} if isinstance(v, int) else v)]],
    Field(min_length=1, description="a table [source.measures] with lines such as house_voltage_v = 1, the instance"),
]


class CanRvcOptions(Options):
    """Which network, and which of its DC sources."""

    interface: Literal["socketcan", "slcan", "virtual"] = Field("socketcan", description="virtual is for tests")
    channel: str = Field("can0", min_length=1, description="can0, or the serial port of an slcan adapter")
    bitrate: int = Field(250_000, description="for slcan; a socketcan interface gets it from the system")
    max_age_s: float = Field(5.0, gt=0, le=60, description="how long a value may be used after it was heard")
    timeout_s: float = Field(0.8, gt=0, le=5, description="a reading takes no longer than this")
    measures: Places

    @model_validator(mode="after")
    def _fields_fit(self) -> "CanRvcOptions":
        for quantity in self.measures:
            if quantity.rpartition("_")[2] not in FIELDS:
                raise ValueError(f"{quantity} is not in these groups: they hold volts, amperes and degrees")
        return self


@dataclass(frozen=True, slots=True)
class Heard:
    """One field of one device, the newest."""

    value: float | None  # None: the device says that it is not available
    priority: int
    at_s: float


class CanRvcDriver:
    """Listens to DC sources; sends nothing.

    Sources repeat their groups in their own rhythm, so a value is used until it is `max_age_s` old.

    [1] RV Industry Association, RV-C specification, "DC source status" groups 1FFFDh and 1FFFCh: byte 0
        instance, byte 1 device priority (120 the highest), volts 0.05 V, amperes 0.001 A from -2 000 000 A,
        degrees 0.03125 °C from -273 °C, little-endian. All bits set is "not available". From memory: the two
        numbers below it, "out of range" and "reserved", and that amperes are positive into the battery.
    """

    Options = CanRvcOptions

    def __init__(self, options: CanRvcOptions) -> None:
        self._options = options
        self._bus: Any = None
        self._new = True
        self._instances = {place.instance for place in options.measures.values()}
        self._heard: dict[tuple[int, int, str], Heard] = {}  # (instance, source address, unit)
        self._odd = ""
        with opening():
            self._open()

    def read(self) -> Reading:
        if self._bus is None:
            self._open()
        end_s = _now_s() + self._options.timeout_s
        self._odd = ""
        try:
            self._listen(end_s, wait=False)
            values, missing = self._stock()
            # the first reading waits for all of them, later ones only where there is nothing to give
            while missing and (self._new or not values) and _now_s() < end_s:
                self._listen(end_s, wait=True)
                values, missing = self._stock()
        except (can.CanError, OSError, ValueError, IndexError) as error:
            self._drop()
            raise ReadFailed(f"{self._options.channel}: {type(error).__name__}: {error}") from error
        self._new = False
        if not values:
            raise ReadFailed("; ".join(dict.fromkeys(fault.reason for fault in missing)))
        return Reading(values, tuple(missing))

    def close(self) -> None:
        self._drop()

    def _open(self) -> None:
        o = self._options
        filters = [{"can_id": group << 8, "can_mask": 0x1FFFF00, "extended": True} for group in (STATUS_1, STATUS_2)]
        more: dict[str, Any] = {"bitrate": o.bitrate, "sleep_after_open": 0, "listen_only": True} if o.interface == "slcan" else {}
        try:
            self._bus = can.Bus(interface=o.interface, channel=o.channel, can_filters=filters, ignore_config=True, **more)
        except (can.CanError, OSError, ValueError) as error:
            raise ReadFailed(f"{o.channel}: {error}; is the interface there and up?") from error
        self._new = True

    def _drop(self) -> None:
        bus, self._bus = self._bus, None
        self._heard.clear()
        if bus is not None:
            with suppress(can.CanError, OSError):
                bus.shutdown()

    def _listen(self, end_s: float, wait: bool) -> None:
        """Take in what waits; with `wait`, also wait for one frame more."""
        message = self._bus.recv(timeout=max(0.0, end_s - _now_s()) if wait else 0)
        for _ in range(LONGEST_BATCH):
            if message is None:
                return
            self._take(message)
            message = self._bus.recv(timeout=0)

    def _take(self, message: Any) -> None:
        group, source, data = message.arbitration_id >> 8 & 0x1FFFF, message.arbitration_id & 0xFF, bytes(message.data)
        if not message.is_extended_id or message.is_remote_frame or message.is_error_frame:
            return
        if not data or data[0] not in self._instances:
            return
        for unit, (of, first, size, step, start) in FIELDS.items():
            if of != group:
                continue
            if len(data) < first + size or len(data) != message.dlc:
                self._odd = f"group {group:05X} with {len(data)} bytes"
                continue
            number = int.from_bytes(data[first:first + size], "little")
            value = None if number >= (1 << 8 * size) - 3 else number * step + start
            self._heard[data[0], source, unit] = Heard(value, data[1], _now_s())

    def _best(self, quantity: str, place: Place) -> Heard | None:
        unit, oldest_s = quantity.rpartition("_")[2], _now_s() - self._options.max_age_s
        fresh = [heard for (instance, source, of), heard in self._heard.items()
                 if instance == place.instance and of == unit and heard.at_s >= oldest_s
                 and place.source_address in (None, source)]
        return max(fresh, key=lambda h: (h.value is not None, h.priority, h.at_s), default=None)

    def _stock(self) -> tuple[dict[str, float], list[Fault]]:
        """What is known at this moment, and why the rest is not."""
        values: dict[str, float] = {}
        missing: list[Fault] = []
        for quantity, place in self._options.measures.items():
            best = self._best(quantity, place)
            where = f"{self._options.channel}: DC source instance {place.instance}"
            if best is None:
                missing.append(Fault(quantity, f"{where} was not heard" + (f", only {self._odd}" if self._odd else "")))
            elif best.value is None:
                missing.append(Fault(quantity, f"{where} says that its {quantity.rpartition('_')[2].upper()} is not available"))
            else:
                values[quantity] = best.value * place.scale + place.offset
        return values, missing


def _now_s() -> float:
    return time.clock_gettime(time.CLOCK_BOOTTIME)
