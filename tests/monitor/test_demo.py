"""The demo as a newcomer meets it: a process of its own, its pages, Ctrl-C, and nothing outside its folder."""
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from monitor.logbook.reader import Reader
from monitor.store import backup, past

ROOT = Path(__file__).parents[2]


@contextmanager
def _demo(folder: Path, *more: str, port: int = 0) -> Iterator[subprocess.Popen]:
    home = folder / "home"
    home.mkdir(exist_ok=True)
    env = {**os.environ, "HOME": str(home), "PYTHONPATH": str(ROOT), "TMPDIR": str(home), "PYTHONDONTWRITEBYTECODE": "1",
           "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen([sys.executable, "-m", "monitor", "demo", "--port", str(port), *more], cwd=folder, env=env, text=True,
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    try:
        yield process
    finally:
        process.kill()
        process.communicate(timeout=20)


def _address(process: subprocess.Popen) -> str:
    for line in process.stdout:
        if found := re.search(r"http://\S+/", line):
            return found[0]
    raise AssertionError(process.stderr.read())


def _get(address: str) -> str:
    for _ in range(200):
        try:
            return urllib.request.urlopen(address, timeout=5).read().decode()
        except urllib.error.URLError:
            time.sleep(0.05)
    raise AssertionError(f"{address} does not answer")


def _status(folder: Path) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-m", "monitor", "status", "--json", "--config", "demo-data/ampledger.toml"],
                          cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True)


def test_the_demo_lives_shows_itself_and_ends_on_ctrl_c(tmp_path: Path) -> None:
    with _demo(tmp_path, "--days", "0", "--speed", "600") as process:
        address = _address(process)
        _get(address)
        time.sleep(3)
        page = _get(address)
        assert "imulated" in page and "ampledger" in page
        process.send_signal(signal.SIGINT)
        said, complaints = process.communicate(timeout=20)
        assert process.returncode == 0, complaints
        assert "Ended." in said and "Traceback" not in complaints
    log = Reader(tmp_path / "demo-data" / "ampledger.db")
    assert log.now().simulated
    begin, end = log.span()
    assert end - begin >= 1200, "ten minutes went by in each second"
    assert log.now().findings.counts.today.gap_s < 60.0, "and each of them was measured"
    assert backup.prove(log.database).damaged_hours == 0
    assert {path.name for path in tmp_path.iterdir()} == {"demo-data", "home"}
    assert not list((tmp_path / "home").rglob("*")), "nothing is written outside the folder"
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(address, timeout=1)


def test_it_opens_on_an_evening_when_the_charge_will_not_last_with_something_to_do(tmp_path: Path) -> None:
    with _demo(tmp_path, "--speed", "1") as process:
        address = _address(process)
        page, tonight = _get(address), _get(address + "tonight")
        process.send_signal(signal.SIGINT)
        assert process.communicate(timeout=30) and process.returncode == 0
    now = Reader(tmp_path / "demo-data" / "ampledger.db").now()
    forecast = now.findings.forecast
    assert 18 <= time.localtime(now.utc_s).tm_hour < 20 and 0 <= time.time() - now.utc_s < 86400 + 7200
    assert forecast.probability_before_sun > 0.4, forecast
    assert "will probably not last" in page or "house_reserve_forecast" in {a.what.kind for a in Reader(
        tmp_path / "demo-data" / "ampledger.db").alerts(open_only=True)}
    assert "less" in tonight


def test_a_port_that_is_taken_is_not_the_end_of_it(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with _demo(tmp_path, "--days", "0", port=port) as process:
            address = _address(process)
            _get(address)
            process.send_signal(signal.SIGINT)
            said, _ = process.communicate(timeout=20)
    assert f":{port}/" not in address and process.returncode == 0


def test_every_journey_is_told_of() -> None:
    from drivers.vehicle.scenarios import SCENARIOS, TOLD

    assert TOLD.keys() == SCENARIOS.keys() and all(20 < len(words) < 110 for words in TOLD.values())


def test_ctrl_c_while_the_past_is_made_leaves_a_whole_log(tmp_path: Path) -> None:
    with _demo(tmp_path, "--days", "60") as process:
        database = tmp_path / "demo-data" / "ampledger.db"
        for _ in range(200):
            if database.exists():
                break
            time.sleep(0.1)
        time.sleep(1.0)
        process.send_signal(signal.SIGINT)
        _, complaints = process.communicate(timeout=30)
        assert process.returncode == 1 and "Traceback" not in complaints
    assert backup.prove(database).minutes > 0


@pytest.mark.slow
def test_a_demo_after_one_that_was_killed_is_whole_and_has_nothing_of_it(tmp_path: Path) -> None:
    with _demo(tmp_path, "--days", "3") as first:
        _address(first)
        first.kill()
    sealed = past.folder_of(tmp_path / "demo-data" / "ampledger.db")
    assert [file for file in sealed.rglob("*") if file.is_file()], "three days seal some"
    with _demo(tmp_path, "--days", "0.1") as second:
        _address(second)
        second.send_signal(signal.SIGINT)
        _, complaints = second.communicate(timeout=60)
    assert "damaged" not in complaints and not [file for file in sealed.rglob("*") if file.is_file()]
    reader = Reader(tmp_path / "demo-data" / "ampledger.db")
    # A journey begins at a midnight: soon after one, a tenth of a day back is the day before.
    assert reader.span()[1] - reader.span()[0] < 1.2 * 86400
    assert not [e.what.kind for e in reader.events() if e.what.kind in ("log_damaged", "log_tail_lost", "power_cut")]


@pytest.mark.parametrize("left", ["no database", "a damaged one"])
def test_a_log_that_cannot_be_read_is_spared_unless_a_demo_left_it(tmp_path: Path, left: str) -> None:
    database = tmp_path / "demo-data" / "ampledger.db"
    past.folder_of(database).mkdir(parents=True)
    if left == "a damaged one":
        database.write_text("no log at all, " * 500)
    with _demo(tmp_path) as process:
        _, complaints = process.communicate(timeout=60)
    assert process.returncode == 1 and "may be a real vehicle's" in complaints
    assert past.folder_of(database).is_dir()


def test_a_second_demo_spares_a_real_log(tmp_path: Path) -> None:
    from tests.store_fixture import fill

    (tmp_path / "demo-data").mkdir()
    fill(tmp_path / "demo-data" / "ampledger.db", days=0.05, simulated=False)
    with _demo(tmp_path) as process:
        _, complaints = process.communicate(timeout=30)
    assert process.returncode == 1 and "holds the log of a real vehicle" in complaints
    assert not Reader(tmp_path / "demo-data" / "ampledger.db").now().simulated


def test_status_of_the_demo_works_while_it_runs_and_no_pages_outlive_a_kill(tmp_path: Path) -> None:
    with _demo(tmp_path, "--days", "0") as process:
        address = _address(process)
        _get(address)
        done = _status(tmp_path)
        for _ in range(100):  # the pages may be quicker than the first minute
            if done.returncode == 0:
                break
            assert "nothing has been concluded yet" in done.stderr
            time.sleep(0.2)
            done = _status(tmp_path)
        assert json.loads(done.stdout)["simulated"] is True
    time.sleep(0.5)
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(address, timeout=1)
