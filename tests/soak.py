"""Weeks of a daemon's life in minutes, with instruments that fail and return, and what it holds on to meanwhile."""
import gc
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

from drivers.errors import ReadFailed
from monitor import pipeline
from monitor.process.daemon import Daemon
from tests import store_fixture
from tests.hand_clock import NETWORK, NOBODY, HandClock
from tests.vehicle_by_hand import Instrument

#: What befalls an instrument, once in six hours on average, for up to three hours.
TROUBLES = ("silent", "unplugged", "absurd", "broken", "fault")


@dataclass(frozen=True)
class Mark:
    """What the process held at a moment: simulated days, memory of its own [MB], threads, open files, Python's objects."""

    day: float
    memory_mb: float
    threads: int
    files: int
    objects: int


def mark(day: float) -> Mark:
    """As it is now, after the garbage was collected."""
    gc.collect()
    lines = Path("/proc/self/smaps_rollup").read_text().splitlines()
    own = sum(int(line.split()[1]) for line in lines if line.startswith(("Private_Clean:", "Private_Dirty:"))) / 1024
    return Mark(day, own, threading.active_count(), len(list(Path("/proc/self/fd").iterdir())), len(gc.get_objects()))


class Quick(HandClock):
    """A clock by hand that steps and is lost now and then, as a board's does."""

    def unsettle(self, chance: Random) -> None:
        self.vouched = chance.choice((NETWORK, NETWORK, NOBODY))
        if self.vouched is NOBODY:
            self.set_wall(chance.uniform(0, 4e9))


def _befall(instrument: Instrument, chance: Random) -> None:
    how = chance.choice(TROUBLES)
    instrument.trouble = how
    instrument.there = how != "unplugged"
    if how == "silent":
        instrument.shows = ReadFailed("no acknowledge")
    elif how == "broken":
        instrument.shows = ZeroDivisionError("a mistake in the driver")
    elif how == "absurd":
        instrument.shows = dict.fromkeys(instrument.gives, 40000.0)


def lived(folder: Path, days: float, beat_s: float, every_days: float, seed: int = 5) -> Iterator[Mark]:
    """Lives so many days, and marks what is held every so often."""
    chance, clock = Random(seed), Quick(boot_s=0.0)
    instruments = [Instrument("shunt"), Instrument("adc"), Instrument("probe")]
    for instrument, gives in zip(instruments, (("house_voltage_v", "house_current_a"), ("starter_voltage_v",), ("house_temperature_c",))):
        instrument.gives, instrument.trouble, instrument.until_s = gives, "", 0.0
    daemon = Daemon(folder / "ampledger.db", store_fixture.VEHICLE, instruments, clock=clock, begin=pipeline.begin, step=pipeline.step,
                    beat_s=1.0, commit_s=900.0)
    next_mark = every_days
    for sample in store_fixture.samples(days, beat_s=beat_s):
        clock.move(beat_s)
        now_s = clock.boot_s()
        for instrument in instruments:
            if instrument.trouble and now_s > instrument.until_s:
                instrument.trouble, instrument.there = "", True
            if not instrument.trouble:
                instrument.shows = {name: getattr(sample, name) for name in instrument.gives if getattr(sample, name) is not None}
                if chance.random() < beat_s / 21600:
                    instrument.until_s = now_s + chance.uniform(10, 10800)
                    _befall(instrument, chance)
        if chance.random() < beat_s / 43200:
            clock.unsettle(chance)
        daemon.beat()
        if now_s >= next_mark * 86400:
            daemon.writer.flush(60)
            yield mark(now_s / 86400)
            next_mark += every_days
    daemon.close()
    yield mark(days)
