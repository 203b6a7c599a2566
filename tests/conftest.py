"""For all tests: patience on a busy machine, which files are slow, and what must stay together when tests run side by side."""
import os
import signal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from xdist.scheduler import LoadScopeScheduling

# times belong to the benchmarks
settings.register_profile("patient", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")

ROOT = Path(__file__).parent.parent
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:   # a shell's job in the background: the tests' own processes must hear Ctrl-C
    signal.signal(signal.SIGINT, signal.default_int_handler)
#: Files and folders that take more than some seconds of a core (pytest --durations=0), the longest first: `make check`
#: leaves them out, `make test` begins with them so that the last worker does not end alone.
SLOW = (
    "tests/golden/test_golden.py", "tests/test_reference_drives.py", "tests/scenarios/", "tests/intervals/",
    "tests/test_measured_batteries.py",
    "tests/crash/", "tests/fleet/", "tests/test_soak.py", "tests/dashboard/", "tests/test_crowd.py", "tests/monitor/test_isolator.py",
    "tests/monitor/test_limit_alerts.py", "tests/monitor/test_whatif_from_log.py", "tests/monitor/test_starter_ensemble.py",
    "tests/monitor/test_charge.py", "tests/monitor/test_charge_suspicion.py",
    "tests/monitor/test_demo.py", "tests/monitor/test_protection.py", "tests/monitor/test_parked.py",
    "tests/monitor/test_plausibility.py", "tests/monitor/test_forecast.py", "tests/monitor/test_capacity_test.py",
    "tests/monitor/test_whatif.py", "tests/monitor/test_plan.py",
    "tests/monitor/test_loads.py", "tests/monitor/test_starter.py", "tests/monitor/test_wrong_dates.py",
    "tests/monitor/test_store_outages.py", "tests/monitor/test_store_sealed.py", "tests/monitor/test_uncharged_run.py",
    "tests/monitor/test_commands_fuzz.py", "tests/monitor/test_earlier_logs.py", "tests/monitor/test_relive.py",
    "tests/monitor/test_wishes.py", "tests/monitor/test_store_chunks.py", "tests/monitor/test_named_loads.py",
    # real processes, users and clocks
    "tests/monitor/test_users.py", "tests/monitor/test_no_disk.py", "tests/monitor/test_supervision.py", "tests/monitor/test_service.py",
    "tests/monitor/test_delivery.py",
)
#: Whose tests share nothing and may be spread over workers one by one; of every other file all tests stay on one worker,
#: for they share fixtures, ports, processes or a computed ensemble.
SPREAD = ("tests/golden/", "tests/drivers/test_every_driver.py", "tests/monitor/test_setup.py", "tests/monitor/test_delivery.py",
          "tests/monitor/test_daemon.py", "tests/monitor/test_store_writer.py", "tests/monitor/test_satellite_time.py",
          # each a life of its own, computed for one test
          "tests/test_measured_batteries.py", "tests/scenarios/test_ensemble.py", "tests/monitor/test_lithium_charge.py",
          "tests/monitor/test_isolator.py", "tests/monitor/test_limit_alerts.py", "tests/monitor/test_starter_ensemble.py",
          "tests/monitor/test_charge.py", "tests/monitor/test_charge_suspicion.py", "tests/monitor/test_protection.py",
          "tests/monitor/test_parked.py", "tests/monitor/test_plausibility.py", "tests/monitor/test_forecast.py",
          "tests/monitor/test_board_supply.py")
#: Whose files share what was computed once.
TOGETHER = ("tests/intervals/",)
#: Of these folders, files that share nothing with the others.
APART = ("tests/intervals/test_health.py", "tests/intervals/test_life.py", "tests/intervals/test_whatif.py")
#: Quick ones that wait for a line, broker or instrument rather than compute: spread among the others, so that no core stands idle.
WAITING = ("tests/monitor/test_setup.py", "tests/monitor/test_satellite_time.py", "tests/drivers/test_every_driver.py")


class ByFile(LoadScopeScheduling):
    """Gives a worker the tests of one file at a time (or of one folder, or a single one), in the order of collection.

    By pytest-xdist's own hook: marks of groups are passed over by its 3.8 beside pytest 9.2, whose names of tests cannot be changed.
    """

    def _split_scope(self, nodeid: str) -> str:
        if nodeid.startswith(SPREAD):
            return nodeid
        together = () if nodeid.startswith(APART) else TOGETHER
        return next((folder for folder in together if nodeid.startswith(folder)), nodeid.partition("::")[0])


def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> ByFile | None:
    """Wherever tests run side by side, but for `--dist no`."""
    if config.getoption("dist") == "no":
        return None
    config.option.loadscopereorder = False
    return ByFile(config, log)


def pytest_xdist_auto_num_workers() -> int:
    """Two more than cores: many tests wait for a real process, line or server."""
    return len(os.sched_getaffinity(0)) + 2


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """A run that wants nothing slow need not import what is slow as a whole; one that wants slow ones, no file without any."""
    if not collection_path.is_relative_to(ROOT):
        return None
    wanted, name = config.getoption("markexpr"), collection_path.relative_to(ROOT).as_posix()
    slow = (name + "/" if collection_path.is_dir() else name).startswith(SLOW)
    if "not slow" in wanted:
        return True if slow else None
    if "slow or browser" in wanted and not slow and collection_path.match("test_*.py"):
        text = collection_path.read_text(encoding="utf-8")
        return None if "mark.slow" in text or "mark.browser" in text else True
    return None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what is slow, begin with the longest; where tests run side by side, those that wait stand evenly among the quick ones."""
    rank: dict[pytest.Item, float] = {}
    waiting, quick = [], []
    for item in items:
        name = item.path.relative_to(ROOT).as_posix() if item.path.is_relative_to(ROOT) else ""
        rank[item] = next((k for k, slow in enumerate(SLOW) if name.startswith(slow)), len(SLOW))
        if rank[item] < len(SLOW):
            item.add_marker(pytest.mark.slow)
        elif item.get_closest_marker("slow") or item.get_closest_marker("browser"):
            rank[item] = SLOW.index("tests/monitor/test_isolator.py")   # a slow one of a quick file: not last of all
        else:
            (waiting if name.startswith(WAITING) else quick).append(item)
    if hasattr(config, "workerinput"):
        for some in (waiting, quick):
            rank |= {item: len(SLOW) + k / len(some) for k, item in enumerate(some)}
    items.sort(key=rank.__getitem__)
