"""The first reading of a start: taken before the slow imports, kept, dated, and in the log like any other."""
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from monitor.logbook.reader import Reader
from monitor.sampling import first_reading
from monitor.store.lock import hold_lock
from tests.drivers.counterparts import HwmonFolder
from tests.hand_clock import HandClock
from tests.monitor.test_service import heard
from tests.test_crowd import CONFIG
from tests.vehicle_by_hand import REST, Instrument, daemon, live


def first_of(instrument: Instrument, clock: HandClock):
    taken = first_reading.take([instrument], 1.0)
    return first_reading.FirstReading(taken.sampler, clock.boot_s(), taken.answers)


def test_a_new_log_begins_with_the_reading_that_was_taken_before_it_was_opened(tmp_path: Path) -> None:
    instrument, clock = Instrument(), HandClock(boot_s=20.0)
    first = first_of(instrument, clock)
    clock.move(0.7)
    life = daemon(tmp_path / "ampledger.db", instrument, clock, first=first)
    live(life, 130)
    life.daemon.close()
    rows = [(utc_s, sample.at_s) for utc_s, sample in Reader(tmp_path / "ampledger.db").rows()]
    assert rows[0][1] == 0.0 and rows[1][1] == pytest.approx(1.7)
    assert rows[0][0] == pytest.approx(clock.utc_s() - 130.7, abs=0.01) and instrument.opened == 1


def test_a_log_that_goes_on_takes_it_in_after_its_end(tmp_path: Path) -> None:
    life = daemon(tmp_path / "ampledger.db")
    live(life, 130)
    life.daemon.close()
    ended_s = life.daemon._before_s()
    life.clock.move(3.0)
    instrument = Instrument(**{**REST, "house_current_a": -7.5})
    first = first_of(instrument, life.clock)
    instrument.shows = dict(REST)
    life.clock.move(0.5)
    again = daemon(tmp_path / "ampledger.db", instrument, life.clock, first=first)
    live(again, 130)
    again.daemon.close()
    added = [sample for _, sample in Reader(tmp_path / "ampledger.db").rows() if sample.at_s > ended_s]
    assert added[0].house_current_a == -7.5 and added[0].at_s - ended_s == pytest.approx(3.0)
    assert added[1].at_s - added[0].at_s == pytest.approx(1.5)


def test_sources_with_a_time_of_their_own_are_left_alone() -> None:
    assert first_reading.take([Instrument("simulated")], 1.0) is None


@pytest.mark.slow
def test_the_daemon_takes_it_up(tmp_path: Path) -> None:
    chip = HwmonFolder(tmp_path / "hwmon")
    (tmp_path / "ampledger.toml").write_text(CONFIG.format(beat_s=0.2, root=chip.options.root))
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(60)
        process = subprocess.Popen([sys.executable, "-m", "monitor", "run", "--config", str(tmp_path / "ampledger.toml")],
                                   env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")}, stderr=subprocess.PIPE, text=True)
        try:
            heard(manager, "WATCHDOG=1")
            process.send_signal(signal.SIGTERM)
            _, said = process.communicate(timeout=30)
            assert process.returncode == 0, said
        finally:
            process.kill()
            process.communicate()


@pytest.mark.slow
def test_the_log_is_locked_from_the_first_reading_on(tmp_path: Path) -> None:
    """While the first reading waits (its file is a pipe), nobody else can have the log; nor before READY, nor after it."""
    chip = HwmonFolder(tmp_path / "hwmon")
    pipe = chip.place / "in1_input"
    pipe.unlink()
    os.mkfifo(pipe)
    database = tmp_path / "ampledger.db"
    (tmp_path / "ampledger.toml").write_text(CONFIG.format(beat_s=0.2, root=chip.options.root))
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(60)
        process = subprocess.Popen([sys.executable, "-m", "monitor", "run", "--config", str(tmp_path / "ampledger.toml")],
                                   env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")}, stderr=subprocess.DEVNULL)
        try:
            got = []
            with open(pipe, "w") as opened:
                for _ in range(3):
                    with hold_lock(database) as free:
                        got.append(free)
                opened.write("12650\n")
            pipe.unlink()
            pipe.write_text("12650\n")
            manager.settimeout(0.002)
            end = time.monotonic() + 60
            while time.monotonic() < end:
                with hold_lock(database) as free:
                    got.append(free)
                try:
                    if b"READY=1" in manager.recv(4096):
                        break
                except TimeoutError:
                    pass
            assert time.monotonic() < end and len(got) > 10 and not any(got)
        finally:
            process.kill()
            process.wait(30)
