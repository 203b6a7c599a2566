"""An instrument that shows what a test says, and a daemon around it."""
from pathlib import Path
from types import SimpleNamespace

from drivers.errors import CannotOpen, ReadFailed
from drivers.reading import Reading
from monitor import pipeline
from monitor.process.daemon import Daemon
from tests.hand_clock import HandClock
from tests.store_fixture import VEHICLE

REST = {"house_voltage_v": 12.61, "house_current_a": -1.0, "starter_voltage_v": 12.72, "house_temperature_c": 21.0}


class Instrument:
    """Set `shows` to values, or to an exception; set `there` to False to unplug it."""

    def __init__(self, driver: str = "by hand", **shows: float) -> None:
        self.driver, self.shows, self.there, self.opened, self.closed, self.own_time_s = driver, shows or dict(REST), True, 0, 0, None
        self.simulated, self.faults = False, ()

    def open(self) -> "Instrument":
        if not self.there:
            raise CannotOpen(f"{self.driver} is not plugged in")
        self.opened += 1
        return self

    def read(self) -> Reading:
        if isinstance(self.shows, Exception):
            raise self.shows
        if not self.there:
            raise ReadFailed(f"{self.driver} does not answer")
        return Reading(dict(self.shows), self.faults, self.simulated, self.own_time_s)

    def close(self) -> None:
        self.closed += 1


def daemon(database: Path, instrument: Instrument | None = None, clock: HandClock | None = None, **options) -> SimpleNamespace:
    """A daemon, its instrument, its clock, and the alert changes it told."""
    instrument, clock, told = instrument or Instrument(), clock or HandClock(), []
    made = Daemon(database, options.pop("vehicle", VEHICLE), options.pop("sources", [instrument]), clock=clock,
                  begin=options.pop("begin", pipeline.begin), step=options.pop("step", pipeline.step), offer=told.append, **options)
    return SimpleNamespace(daemon=made, instrument=instrument, clock=clock, told=told)


def live(life: SimpleNamespace, seconds: float, beat_s: float = 1.0) -> list:
    """So many seconds of life; returns the findings of its minutes."""
    found = []
    for _ in range(round(seconds / beat_s)):
        life.clock.move(beat_s)
        concluded = life.daemon.beat()
        if concluded is not None:
            found.append(concluded)
    return found
