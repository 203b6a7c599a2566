"""Judging again on a Dask scheduler with workers of its own: the same results as in processes here."""
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, select

from monitor.fleet import by_hand
from monitor.fleet.tables import replays
from tests.fleet.lines import NOW_UTC_S
from tests.fleet.test_publish import enrol

pytest.importorskip("distributed", reason="needs Dask's scheduler: pip install distributed", exc_type=ModuleNotFoundError)
pytestmark = pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
ROOT = Path(__file__).parents[2]
VEHICLES = ("hilux-07", "patrol-02", "troopy-03")


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a real scheduler with two real workers, each a process."""
    folder = tmp_path_factory.mktemp("dask")
    file, environment = folder / "scheduler.json", os.environ | {"PYTHONPATH": str(ROOT)}
    # the configuration of whoever runs the tests is not asked
    environment |= {"DASK_CONFIG": str(folder / "none"), "DASK_TEMPORARY_DIRECTORY": str(folder)}
    common = ["--scheduler-file", str(file), "--no-dashboard"]
    commands = (["distributed.cli.dask_scheduler", *common, "--host", "127.0.0.1", "--port", "0"],
                ["distributed.cli.dask_worker", *common, "--nworkers", "2", "--nthreads", "1"])
    with ExitStack() as stack:
        for command in commands:
            process = stack.enter_context(subprocess.Popen([sys.executable, "-m", *command], cwd=folder, env=environment,
                                                           stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))
            stack.callback(process.terminate)
            end = time.monotonic() + 60
            while not file.exists() and time.monotonic() < end:
                time.sleep(0.05)
        yield json.loads(file.read_text())["address"]


@pytest.fixture
def fleet(engine: Engine, published_log: Path) -> Engine:
    for name in VEHICLES:
        enrol(engine, name)
    for name in VEHICLES[:2]:
        by_hand.import_log(engine, published_log, name, NOW_UTC_S)
    return engine


def replay(engine: Engine, *more: str) -> subprocess.CompletedProcess:
    address = engine.url.render_as_string(hide_password=False)
    return subprocess.run([sys.executable, "-m", "monitor", "fleet", "replay", "--collection", address, *more], cwd=ROOT, text=True,
                          capture_output=True, timeout=300)


def kept(engine: Engine, run: str) -> dict[int, dict[str, Any]]:
    with engine.connect() as connection:
        rows = connection.execute(select(replays.c.vehicle_id, replays.c.body).where(replays.c.run == run))
        return {number: json.loads(body) for number, body in rows}


def test_a_scheduler_gives_the_results_that_processes_give(fleet: Engine, scheduler: str) -> None:
    here, there = replay(fleet, "--run", "here", "--processes", "2"), replay(fleet, "--run", "there", "--dask", scheduler)
    assert (here.returncode, there.returncode) == (0, 0), here.stderr + there.stderr
    assert sorted(here.stdout.splitlines()) == sorted(there.stdout.splitlines())
    found = kept(fleet, "there")
    assert found == kept(fleet, "here") and set(found) == {1, 2, 3}
    assert found[1]["minutes"] > 4000 and found[1]["charge_frac"] is not None
    assert found[3]["why_not"] == "nothing has come from its board yet"


def test_a_scheduler_that_is_not_there_is_a_sentence_and_nothing_is_kept(fleet: Engine) -> None:
    done = replay(fleet, "--run", "nowhere", "--dask", "tcp://127.0.0.1:1")
    assert done.returncode == 1 and "the scheduler at tcp://127.0.0.1:1 was not reached" in done.stderr, done.stderr
    assert "Traceback" not in done.stderr and kept(fleet, "nowhere") == {}
