"""The daemon as systemd runs it: a process of its own, told to be ready, fed, and ended in order."""
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from monitor.logbook.reader import Reader

CONFIG = """
[house]
chemistry = "agm"
rated_capacity_ah = 60
[starter]
chemistry = "agm"
rated_capacity_ah = 60
[[source]]
driver = "simulated"
speed = 20
[log]
beat_s = 0.1
"""


@pytest.fixture
def service(tmp_path: Path):
    """A running `ampledger run`, and the socket it tells systemd by."""
    (tmp_path / "ampledger.toml").write_text(CONFIG)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(60)
        process = subprocess.Popen([sys.executable, "-m", "monitor", "run", "--config", str(tmp_path / "ampledger.toml")],
                                   env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")}, stderr=subprocess.PIPE, text=True)
        try:
            yield process, manager
        finally:
            process.kill()
            process.communicate()


def heard(manager: socket.socket, word: str, most: int = 500) -> str:
    """Waits for a message that holds a word."""
    for _ in range(most):
        text = manager.recv(4096).decode()
        if word in text:
            return text
    raise AssertionError(f"no {word} in {most} messages")


def test_it_is_ready_feeds_the_watchdog_and_ends_in_order_on_sigterm(service, tmp_path: Path) -> None:
    process, manager = service
    heard(manager, "READY=1")
    heard(manager, "WATCHDOG=1")
    assert "isolator" in heard(manager, "STATUS=")
    process.send_signal(signal.SIGTERM)
    heard(manager, "STOPPING=1")
    assert process.wait(20) == 0
    assert Reader(tmp_path / "ampledger.db").now().simulated
    assert len(list(Reader(tmp_path / "ampledger.db").rows())) >= 2


def test_a_beat_that_stops_starves_the_watchdog(service) -> None:
    """Stopped as a hung bus would stop it: systemd then kills and starts it anew (WatchdogSec in the unit)."""
    process, manager = service
    heard(manager, "WATCHDOG=1")
    process.send_signal(signal.SIGSTOP)
    time.sleep(0.1)
    manager.setblocking(False)
    while True:
        try:
            manager.recv(4096)
        except BlockingIOError:
            break
    manager.settimeout(1.0)
    with pytest.raises(TimeoutError):
        manager.recv(4096)
    process.send_signal(signal.SIGCONT)
    manager.settimeout(30)
    heard(manager, "WATCHDOG=1")


def test_a_second_daemon_on_the_same_log_is_refused_in_a_sentence(service, tmp_path: Path) -> None:
    process, manager = service
    heard(manager, "READY=1")
    second = subprocess.run([sys.executable, "-m", "monitor", "run", "--config", str(tmp_path / "ampledger.toml")],
                            capture_output=True, text=True, timeout=60)
    assert second.returncode == 1 and "another ampledger is writing" in second.stderr and "Traceback" not in second.stderr
