"""Fifty clients at once on the slowest page while the daemon samples a real clock: not one sample is late by a beat."""
import contextlib
import http.client
import os
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path

from tests import store_fixture
from tests.drivers.counterparts import HwmonFolder
from tests.monitor.test_service import heard
from tests.ports import free_port, wait_until_open

CLIENTS, BEAT_S, SECONDS = 50, 0.5, 4.0
#: The dearest there is: everything on record, drawn.
SLOWEST = "/api/v1/figures/log?span=all&points=900"
CONFIG = """
[house]
chemistry = "agm"
rated_capacity_ah = 60
[starter]
chemistry = "agm"
rated_capacity_ah = 60
[log]
beat_s = {beat_s}
[[source]]
driver = "hwmon"
chip = "ina226"
root = "{root}"
[source.measures]
house_voltage_v = "in1"
house_current_a = "curr1"
"""


def crowd(port: int, seconds: float, clients: int = CLIENTS) -> tuple[int, list[str]]:
    """So many clients ask again and again; returns how many answers came, and what went wrong."""
    until, answers, wrong = time.monotonic() + seconds, [0], []

    def ask() -> None:
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        try:
            while time.monotonic() < until:
                link.request("GET", SLOWEST)
                answer = link.getresponse()
                answer.read()
                answers[0] += 1
                if answer.status != 200:
                    wrong.append(str(answer.status))
        except OSError as error:
            wrong.append(str(error))
        finally:
            link.close()

    threads = [threading.Thread(target=ask) for _ in range(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return answers[0], wrong


def forget(manager: socket.socket) -> None:
    """Drop the messages that have come already."""
    manager.setblocking(False)
    with contextlib.suppress(BlockingIOError):
        while True:
            manager.recv(4096)
    manager.settimeout(30)


def test_fifty_clients_at_once_delay_no_sample(tmp_path: Path) -> None:
    """Beats are told to systemd's socket one by one; a quiet listener notes when."""
    chip = HwmonFolder(tmp_path / "hwmon")
    config = tmp_path / "ampledger.toml"
    config.write_text(CONFIG.format(beat_s=BEAT_S, root=chip.options.root))
    database = store_fixture.fill(tmp_path / "ampledger.db", 0.4, beat_s=60.0, simulated=False)
    port = free_port()
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(tmp_path / "notify"))
        manager.settimeout(30)
        daemon = subprocess.Popen([sys.executable, "-m", "monitor", "run", "--config", str(config)], stderr=subprocess.DEVNULL,
                                  env={**os.environ, "NOTIFY_SOCKET": str(tmp_path / "notify")})
        pages = subprocess.Popen([sys.executable, "-m", "dashboard", "--database", str(database), "--address", f"127.0.0.1:{port}"],
                                 stderr=subprocess.DEVNULL, preexec_fn=lambda: os.nice(5))  # the unit says CPUWeight=50 against 200
        try:
            heard(manager, "WATCHDOG=1")
            wait_until_open(port)
            forget(manager)
            heard(manager, "WATCHDOG=1")
            clients = subprocess.Popen([sys.executable, "-m", "tests.test_crowd", str(port), str(SECONDS)], stdout=subprocess.PIPE,
                                       text=True)
            beats: list[float] = []
            while clients.poll() is None:
                heard(manager, "WATCHDOG=1")
                beats.append(time.monotonic())
            answers, wrong = clients.communicate()[0].split(" ", 1)
        finally:
            for process in (daemon, pages):
                process.terminate()
            for process in (daemon, pages):
                process.wait(20)
    assert wrong.strip() == "[]" and int(answers) >= CLIENTS
    steps = [b - a for a, b in zip(beats, beats[1:])]
    assert len(steps) >= SECONDS / BEAT_S - 3, "none is missing"
    assert max(steps) < 2 * BEAT_S, "none is late by a beat"


if __name__ == "__main__":
    print(*crowd(int(sys.argv[1]), float(sys.argv[2])))
