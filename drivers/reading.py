"""What an instrument says, before anybody has judged it."""
from dataclasses import dataclass
from typing import ClassVar, Protocol

#: Every quantity a source may deliver. The unit is the last part of the name.
QUANTITIES = (
    "house_voltage_v",
    "house_current_a",
    "starter_voltage_v",
    "house_temperature_c",
    "starter_temperature_c",
    "ambient_temperature_c",
    "solar_current_a",
    "solar_2_current_a",
    "ignition_on",
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One quantity of a reading that could not be had, and why."""

    quantity: str
    reason: str


@dataclass(frozen=True, slots=True)
class Reading:
    """What one instrument measured in one reading.

    `values` maps names from QUANTITIES to numbers in the unit the name ends in. A quantity
    that was not measured is absent; one that was asked for and failed is in `faults`.
    Sign: house_current_a is positive INTO the battery. solar_current_a is positive when the sun
    delivers, solar_2_current_a likewise of a second solar charger. ignition_on is 1.0 or 0.0.
    `simulated` marks a reading that no instrument made.
    `at_s` is set only by a source that carries its own time (a recording, a simulation).
    `fast_starter` is the starter voltage around an engine start, (seconds, volts) at 20 Hz or more,
    given once when the start is over; empty from a source that has none.
    """

    values: dict[str, float]
    faults: tuple[Fault, ...] = ()
    simulated: bool = False
    at_s: float | None = None
    fast_starter: tuple[tuple[float, float], ...] = ()


class Driver(Protocol):
    """Anything with read() and close(). Built from its own Options; see docs/writing-a-driver.md.

    `Options` is a pydantic model (extra keys forbidden), checked before anything is opened.
    `read` answers, or raises ReadFailed, within `timeout_s`, which is shorter than the beat.
    No threads, retries, clock or logging in a driver; raise and let the sampler decide.
    """

    Options: ClassVar[type]

    def read(self) -> Reading: ...

    def close(self) -> None: ...
