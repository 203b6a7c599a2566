"""For all tests: patience on a busy machine, which files are slow, and what must stay together when tests run side by side."""
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("patient", deadline=None)     # times belong to the benchmarks
settings.load_profile("patient")

ROOT = Path(__file__).parent.parent
#: Files and folders that take more than some seconds of a core, longest first (pytest --durations=0): `make check` leaves
#: them out, `make test` begins with them so that the last worker does not end alone.
SLOW = (
    "tests/golden/test_golden.py", "tests/test_reference_drives.py", "tests/scenarios/test_charge_ensemble.py",
    "tests/intervals/", "tests/crash/", "tests/test_soak.py", "tests/dashboard/", "tests/test_crowd.py",
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
