"""What speaks for and against each fault of the wiring, carried from minute to minute."""
from typing import ClassVar

from monitor.detection.wiring.bypass import Bypass
from monitor.detection.wiring.channel_state import Limit, Noise
from monitor.detection.wiring.closing import Closing
from monitor.detection.wiring.sunny_sensor import TemperatureSwings
from monitor.detection.wiring.voltage_level import VoltageLevel
from monitor.findings import Event
from monitor.replacing import dataclass


@dataclass(frozen=True, slots=True)
class TenMinutes:
    """Sums of ten minutes."""

    start_s: float = 0.0
    minutes: int = 0
    house_v: float = 0.0
    house_a: float = 0.0
    scatter_v: float = 0.0
    scatter_a: float = 0.0
    starter_minutes: int = 0
    starter_v: float = 0.0
    starter_low_v: float = 1e9
    starter_high_v: float = 0.0


@dataclass(frozen=True, slots=True)
class PlausibilityState:
    """The evidence for each of them."""

    block: TenMinutes = TenMinutes()
    ring: tuple[float, ...] = ()        # volts and amperes of the last six minutes
    bypass: Bypass = Bypass()
    level: VoltageLevel = VoltageLevel()
    limit_v: Limit = Limit()
    limit_a: Limit = Limit()
    noise_v: Noise = Noise()
    noise_a: Noise = Noise()
    swings: TemperatureSwings = TemperatureSwings()
    at_s: float = 0.0
    news: tuple[Event, ...] = ()
    closing: Closing = Closing()
    starter_ring: tuple[float, ...] = ()    # starter volts of the same six minutes, fewer where one was not measured

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"starter_ring"})
