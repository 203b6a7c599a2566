"""No thread ends in silence, memory that runs out ends in a restart or in going on, and the log stays sound."""
import os
import resource
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.alerts.delivery import Deliverer
from monitor.clocks.satellite_time import SatelliteTime
from monitor.logbook.reader import Reader
from monitor.process import restarts
from monitor.process.maintenance import Maintenance
from monitor.process.service import supervise
from monitor.store import backup
from monitor.store.writer import Writer
from tests.hand_clock import HandClock
from tests.monitor.test_service import CONFIG, heard


class Fatal(BaseException):
    """What no `except Exception` catches: a thread that meets it ends."""


def unread(manager: socket.socket) -> None:
    """Throws away what it has said so far."""
    timeout_s = manager.gettimeout()
    manager.setblocking(False)
    try:
        while manager.recv(4096):
            pass
    except BlockingIOError:
        manager.settimeout(timeout_s)


class Deadly:
    """A channel that ends the thread it is used by, once."""

    name, keeps_state = "deadly", True

    def __init__(self) -> None:
        self.sent = 0

    def send(self, change: object, timeout_s: float) -> None:
        self.sent += 1
        if self.sent == 1:
            raise Fatal


def until(condition, within_s: float = 5.0) -> None:
    end = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_delivery_thread_that_ended_is_started_again_told_and_delivers(tmp_path: Path) -> None:
    from tests.monitor.test_delivery import _change

    way, told = Deadly(), []
    deliverer = Deliverer([way])
    deliverer.offer(_change())
    until(lambda: not deliverer.alive())
    supervise([deliverer], lambda kind, message: told.append((kind, message)))
    assert deliverer.alive() and told == [("thread_restarted", "A thread of Deliverer had ended and was started again.")]
    until(lambda: way.sent == 2)
    supervise([deliverer], lambda kind, message: told.append(kind))
    assert len(told) == 1
    deliverer.close()


@contextmanager
def taken_over_name() -> Iterator[None]:
    """Another thread goes by the scheduler's name meanwhile: a name proves nothing."""
    over = threading.Event()
    other = threading.Thread(target=over.wait, name="chores")
    other.start()
    yield
    over.set()
    other.join()


def test_the_scheduler_of_the_night_and_the_listener_for_time_are_started_again(tmp_path: Path) -> None:
    writer = Writer(tmp_path / "ampledger.db")
    writer.start()
    chores = Maintenance(writer, tmp_path / "ampledger.db", raw_days=400, backup_to=None, tell=lambda *_: None)
    assert chores.alive()
    chores.start()
    with socket.create_server(("127.0.0.1", 0)) as taken:
        satellites = SatelliteTime("127.0.0.1", taken.getsockname()[1], HandClock(), retry_s=0.05)
        told: list[str] = []
        supervise([chores, satellites], lambda kind, message: told.append(message))
        assert told == []
        with taken_over_name():
            chores._scheduler.shutdown()
            chores._thread.join(5)
            assert not chores.alive()
        satellites.close()
        satellites._stop.clear()
        supervise([chores, satellites], lambda kind, message: told.append(message))
        assert len(told) == 2 and chores.alive() and satellites.alive() and chores.next_run_utc() is not None
        satellites.close()
    chores.close()
    writer.close()
    until(lambda: not any(t.name in ("chores", "satellite time") for t in threading.enumerate()))


def test_a_storm_of_restarts_is_damped_and_forgotten(tmp_path: Path) -> None:
    kept = {"RUNTIME_DIRECTORY": str(tmp_path)}
    waits = [restarts.wait_s(1000.0 + 6 * i, kept) for i in range(12)]
    assert waits == [0.0] * 5 + [5.0, 10.0, 20.0, 40.0, 60.0, 60.0, 60.0]
    assert restarts.wait_s(3000.0, kept) == 0.0
    (tmp_path / "starts").write_text("soon")
    assert restarts.wait_s(3000.0, kept) == 0.0
    assert restarts.wait_s(3000.0, {}) == 0.0 == restarts.wait_s(3000.0, {"RUNTIME_DIRECTORY": "/nowhere"})


def test_memory_that_runs_out_ends_in_going_on_or_in_a_restart_and_never_in_silence(tmp_path: Path) -> None:
    """The kernel refuses every further page (RLIMIT_AS, getrlimit(2)) to a daemon that is running."""
    (tmp_path / "ampledger.toml").write_text(CONFIG)
    command = [sys.executable, "-m", "monitor", "run", "--config", str(tmp_path / "ampledger.toml")]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(60)
        process = subprocess.Popen(command, env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")}, stderr=subprocess.PIPE,
                                   text=True)
        try:
            heard(manager, "STATUS=")
            pages = int(Path(f"/proc/{process.pid}/statm").read_text().split()[0])
            resource.prlimit(process.pid, resource.RLIMIT_AS, (pages * resource.getpagesize(), resource.RLIM_INFINITY))
            end = time.monotonic() + 3.0
            while time.monotonic() < end and process.poll() is None:
                try:
                    heard(manager, "WATCHDOG=1")
                except TimeoutError:  # the beat was still for a minute: systemd's watchdog ends it, and starts it again
                    unit = (Path(__file__).parents[2] / "systemd" / "ampledger.service").read_text()
                    assert int(unit.partition("WatchdogSec=")[2].split()[0]) <= 60 and "Restart=always" in unit
                    return
            if process.poll() is None:
                resource.prlimit(process.pid, resource.RLIMIT_AS, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
                unread(manager)     # what it said without memory: readings of that time may be lost
                for _ in range(3):
                    heard(manager, "WATCHDOG=1")
                process.terminate()
                assert process.wait(30) == 0
            else:
                assert process.returncode != 0 and process.stderr.read()
        finally:
            process.kill()
            process.communicate()
    assert backup.prove(tmp_path / "ampledger.db").damaged_hours == 0
    # one that ended in its first seconds may have had nothing to write yet
    assert process.returncode != 0 or Reader(tmp_path / "ampledger.db").span() is not None
