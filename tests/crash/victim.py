"""Real daemon processes to be killed: `python -m tests.crash.victim` imports once and forks one for each folder it is told.

A child lives a minute in each few milliseconds on a clock that counts on through its deaths, as one boot does. It says on
standard output what it has been promised: "minute S" when a minute was handed to the log, "event N" when the log said
that event number N is safe.
"""
import os
import sys
import time
from pathlib import Path

from monitor import pipeline
from monitor.process.daemon import Daemon
from monitor.store import chunks, open_log, salvage  # noqa: F401  so that no child has to
from monitor.store.lock import hold_lock
from tests.hand_clock import NETWORK
from tests.store_fixture import VEHICLE
from tests.vehicle_by_hand import REST, Instrument

SPEED = 4000.0
BEAT_S = 20.0


class FastClock:
    """This boot's clock, SPEED times as fast, from 0."""

    def __init__(self, begun_s: float) -> None:
        self._begun_s = begun_s

    def boot_s(self) -> float:
        return (time.clock_gettime(time.CLOCK_BOOTTIME) - self._begun_s) * SPEED

    def utc_s(self) -> float:
        return 1782000000.0 + self.boot_s()

    def boot_id(self) -> str:
        return "one boot"

    def trust(self):
        return NETWORK

    def witnesses(self):
        return ()

    def hour(self, utc_s: float) -> float:
        return utc_s / 3600 % 24

    def wait(self, until_boot_s: float) -> None:
        time.sleep(max(until_boot_s - self.boot_s(), 0) / SPEED)


def live(folder: Path, commit_s: float) -> None:
    """Lives until killed, at one ampere out."""
    begun = folder / "begun"
    if not begun.exists():
        begun.write_text(repr(time.clock_gettime(time.CLOCK_BOOTTIME)))
    clock = FastClock(float(begun.read_text()))
    said = sys.stdout.fileno()
    database = folder / "ampledger.db"
    with hold_lock(database) as ours:
        assert ours, "the daemon before this one is not dead"
        daemon = Daemon(database, VEHICLE, [Instrument(**REST)], clock=clock, begin=pipeline.begin, step=pipeline.step,
                        beat_s=BEAT_S, commit_s=commit_s)
        number = 0
        while True:
            found = daemon.beat()
            if found is not None:
                os.write(said, b"minute %d\n" % int(found.at_s))
                if round(found.at_s / 60) % 5 == 0:
                    number += 1
                    name = f"{os.getpid()}-{number}"
                    daemon.record_event("promised", name)
                    if daemon.writer.flush(20):
                        os.write(said, f"event {name}\n".encode())
                if commit_s <= 60:
                    daemon.writer.flush(20)  # time goes by faster here than any card writes
            clock.wait(clock.boot_s() + BEAT_S)


def main() -> None:
    """Forks a child for each line "FOLDER COMMIT_S"; prints "pid N". The parent of us kills it."""
    import signal

    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    print("ready", flush=True)
    for line in sys.stdin:
        folder, commit_s = line.split()
        pid = os.fork()
        if pid == 0:
            try:
                live(Path(folder), float(commit_s))
            finally:
                os._exit(1)
        print(f"pid {pid}", flush=True)


if __name__ == "__main__":
    main()
