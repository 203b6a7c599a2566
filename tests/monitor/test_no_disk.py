"""Measuring needs no disk: a card that is read-only, full, missing or locked when the daemon starts; real file systems, a real process."""
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from dashboard import create_app
from monitor.logbook import live
from monitor.logbook.reader import Reader
from monitor.store import runtime
from monitor.store.lock import hold_lock
from tests.hand_clock import HandClock
from tests.monitor.test_service import CONFIG, heard
from tests.vehicle_by_hand import REST, daemon
from tests.vehicle_by_hand import live as live_for


@pytest.fixture
def memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder in memory as the service has one."""
    folder = tmp_path / "run"
    folder.mkdir()
    monkeypatch.setenv(runtime.NAMED_BY, str(folder))
    return folder


@pytest.fixture
def card(tmp_path: Path):
    """A small file system of its own."""
    place = tmp_path / "card"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=16m", "tmpfs", str(place)], capture_output=True, text=True, check=False)
    if mounted.returncode:
        pytest.skip(f"needs the right to mount a small file system (run as root): {mounted.stderr.strip()}")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def remount(card: Path, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", str(card)], check=True)


def cut_after(database: Path, seconds: float) -> HandClock:
    """A life that ends as by a power cut: what was committed last waits in the write-ahead log."""
    life = daemon(database)
    live_for(life, seconds)
    life.daemon.writer.flush()
    kept = {file: file.read_bytes() for file in database.parent.iterdir() if file.name.startswith("ampledger.db")
            and "shm" not in file.name}
    life.daemon.close()
    for file in list(database.parent.iterdir()):
        if file.name.startswith("ampledger.db"):
            file.unlink()
    for file, content in kept.items():
        file.write_bytes(content)
    life.clock.move(5)
    return life.clock


def wait_for(true, within_s: float = 40.0) -> None:
    end = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


def spent_ah(database: Path) -> float:
    return sum(values["charge_out_ah"] for _, _, values in Reader(database).rows_of_level("minutes"))


def test_a_read_only_card_is_gone_on_from_shown_from_memory_and_written_when_it_can_be(card: Path, memory: Path) -> None:
    database = card / "ampledger.db"
    clock = cut_after(database, 310)
    remount(card, "ro")
    life = daemon(database, clock=clock)
    assert life.daemon.state.watch.counts.total.spent_ah > 0.07  # what waited in the write-ahead log was read too
    assert live_for(life, 400)
    time.sleep(0.3)
    assert live_for(life, 120)
    assert [c.alert.kind for c in life.told if c.what == "raised"] == ["log_not_writable"]
    # pages and commands are served from memory: the latest minute, the open alert
    shown = Reader(database).now()
    assert shown is not None and life.clock.utc_s() - shown.utc_s < 62
    assert [a.what.kind for a in Reader(database).alerts(open_only=True)] == ["log_not_writable"]
    with create_app(database).test_client() as browser:
        assert "The log cannot be written" in browser.get("/").text
        assert browser.get("/api/v1/now").json["open_alerts"] == 1
    remount(card, "rw")
    assert life.daemon.writer.flush(90)
    live_for(life, 120)
    assert life.daemon.close() and live.read(database) is None
    assert spent_ah(database) == pytest.approx(life.daemon.state.watch.counts.total.spent_ah, abs=1e-5)
    assert spent_ah(database) == pytest.approx((310 + 520 + 120) / 3600, abs=130 / 3600)
    assert len([a for a in Reader(database).alerts() if a.what.kind == "log_not_writable"]) == 1


def test_a_full_card_measures_warns_and_loses_nothing(card: Path, memory: Path) -> None:
    database = card / "ampledger.db"
    clock = cut_after(database, 130)
    with open(card / "filler", "wb", buffering=0) as filler:
        try:
            while True:
                filler.write(b"\0" * 4096)
        except OSError:
            pass
    life = daemon(database, clock=clock)
    life.instrument.shows = {**REST, "house_voltage_v": 10.2}
    live_for(life, 400)
    time.sleep(0.5)
    live_for(life, 120)
    assert {"log_not_writable", "house_under_voltage"} <= {c.alert.kind for c in life.told}
    (card / "filler").unlink()
    assert life.daemon.writer.flush(90)
    life.daemon.close()
    assert spent_ah(database) == pytest.approx(life.daemon.state.watch.counts.total.spent_ah, abs=1e-5)


def test_a_card_that_is_missing_measures_and_is_shown_from_memory(tmp_path: Path, memory: Path) -> None:
    """A file stands where the card's folder should be: no folder can be made there, by nobody."""
    (tmp_path / "card").write_text("not mounted")
    database = tmp_path / "card" / "state" / "ampledger.db"
    with hold_lock(database) as ours:
        assert ours
        life = daemon(database)
        live_for(life, 130)
        time.sleep(0.3)
        live_for(life, 60)
        assert [c.alert.kind for c in life.told] == ["log_not_writable"]
        shown = Reader(database).now()
        assert shown is not None and shown.sample.house_voltage_v == REST["house_voltage_v"]
        assert [a.what.kind for a in Reader(database).alerts(open_only=True)] == ["log_not_writable"]
        with create_app(database).test_client() as browser:
            for page in ("/", "/tonight", "/alerts", "/api/v1/now", "/api/v1/alerts?open=yes"):
                assert browser.get(page).status_code == 200, page
        life.daemon.close(0.5)


def test_a_locked_log_is_gone_on_from_when_it_is_free_and_what_was_measured_meanwhile_is_in_it(tmp_path: Path, memory: Path) -> None:
    database = tmp_path / "ampledger.db"
    clock = cut_after(database, 130)
    with closing(sqlite3.connect(database, isolation_level=None)) as other:
        other.execute("pragma locking_mode = exclusive")
        other.execute("begin exclusive")
        life = daemon(database, clock=clock)
        live_for(life, 180)
        wait_for(lambda: not life.daemon.writer.status().writing)
        live_for(life, 120)
        assert [c.alert.kind for c in life.told] == ["log_not_writable"]
        other.execute("rollback")
    wait_for(lambda: life.daemon.writer.status().older)
    live_for(life, 240)
    life.daemon.close()
    rows = [sample.at_s for _, sample in Reader(database).rows(-1)]
    assert rows == sorted(set(rows)) and len(rows) >= 120 + 300 + 240 - 60
    assert [e.what.kind for e in Reader(database).events()].count("log_found_late") == 1
    assert spent_ah(database) == pytest.approx(life.daemon.state.watch.counts.total.spent_ah, abs=1e-5)


def test_the_lock_holds_without_any_card_and_against_somebody_beside_it(tmp_path: Path, memory: Path, monkeypatch) -> None:
    database = tmp_path / "ampledger.db"
    with hold_lock(database) as ours, hold_lock(database) as second:
        assert ours and not second
    (tmp_path / "ampledger.db.lock").unlink()
    with hold_lock(database) as ours:
        assert ours
        monkeypatch.delenv(runtime.NAMED_BY)  # somebody by hand, who knows of no service
        with hold_lock(database) as second:
            assert not second


def test_a_real_daemon_starts_on_a_read_only_card_feeds_the_watchdog_and_is_asked_by_the_commands(card: Path, memory: Path) -> None:
    (card / "ampledger.toml").write_text(CONFIG)
    remount(card, "ro")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(memory / "notify"))
        manager.settimeout(60)
        process = subprocess.Popen([sys.executable, "-m", "monitor", "run", "--config", str(card / "ampledger.toml")],
                                   env={**os.environ, "NOTIFY_SOCKET": str(memory / "notify")}, stderr=subprocess.PIPE, text=True)
        try:
            heard(manager, "READY=1")
            heard(manager, "STATUS=house")
            heard(manager, "STATUS=house")
            said = subprocess.run([sys.executable, "-m", "monitor", "status", "--config", str(card / "ampledger.toml")],
                                  capture_output=True, text=True, timeout=60, check=False)
            assert said.returncode == 0 and "The log cannot be written" in said.stdout, said.stdout + said.stderr
            process.send_signal(signal.SIGTERM)
            process.wait(30)
        finally:
            process.kill()
            process.communicate()
    assert not [file.name for file in card.iterdir() if file.name != "ampledger.toml"]


def test_a_live_file_that_is_damaged_is_none(tmp_path: Path, memory: Path) -> None:
    file = live.file_of(tmp_path / "ampledger.db")
    for text in (b"", b"00000000\n{}", b"zz", b"\xff" * 50):
        file.write_bytes(text)
        assert live.read(tmp_path / "ampledger.db") is None
