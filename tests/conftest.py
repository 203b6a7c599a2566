"""For all tests: patience on a busy machine, which files are slow, and what must stay together when tests run side by side."""
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("patient", deadline=None)     # times belong to the benchmarks
settings.load_profile("patient")

ROOT = Path(__file__).parent.parent
#: Files and folders that take more than some seconds of a core (pytest --durations=0), the longest first: `make check`
#: leaves them out, `make test` begins with them so that the last worker does not end alone.
SLOW = (
    "tests/golden/test_golden.py", "tests/test_reference_drives.py", "tests/scenarios/", "tests/intervals/",
    "tests/test_measured_batteries.py",
    "tests/crash/", "tests/test_soak.py", "tests/dashboard/", "tests/test_crowd.py", "tests/monitor/test_isolator.py",
    "tests/monitor/test_limit_alerts.py", "tests/monitor/test_whatif_from_log.py", "tests/monitor/test_starter_ensemble.py",
    "tests/monitor/test_charge.py", "tests/monitor/test_charge_suspicion.py",
    "tests/monitor/test_demo.py", "tests/monitor/test_protection.py", "tests/monitor/test_parked.py",
    "tests/monitor/test_plausibility.py", "tests/monitor/test_forecast.py", "tests/monitor/test_capacity_test.py",
    "tests/monitor/test_whatif.py", "tests/monitor/test_loads.py", "tests/monitor/test_starter.py", "tests/monitor/test_wrong_dates.py",
    "tests/monitor/test_store_outages.py", "tests/monitor/test_store_sealed.py", "tests/monitor/test_uncharged_run.py",
    "tests/monitor/test_commands_fuzz.py", "tests/monitor/test_earlier_logs.py", "tests/monitor/test_relive.py",
    "tests/monitor/test_wishes.py", "tests/monitor/test_store_chunks.py",
    # real processes, users and clocks
    "tests/monitor/test_users.py", "tests/monitor/test_no_disk.py", "tests/monitor/test_supervision.py", "tests/monitor/test_service.py",
)
#: Whose tests share nothing and may be spread over workers one by one; of every other file all tests stay on one worker,
#: for they share fixtures, ports, processes or a computed ensemble.
SPREAD = ("tests/golden/",)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what is slow, keep files together under pytest-xdist (--dist loadgroup), begin with the longest."""
    rank = {}
    for item in items:
        name = item.path.relative_to(ROOT).as_posix() if item.path.is_relative_to(ROOT) else ""
        place = next((k for k, slow in enumerate(SLOW) if name.startswith(slow)), len(SLOW))
        rank[item] = place
        if place < len(SLOW):
            item.add_marker(pytest.mark.slow)
        if not name.startswith(SPREAD):
            item.add_marker(pytest.mark.xdist_group(name))
    items.sort(key=lambda item: rank[item])
