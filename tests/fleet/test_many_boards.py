"""Many boards at once through connections that lose, repeat and reorder: the benchmark of fifty vehicles over a month, in small."""
import pytest

from monitor.fleet import local_postgres
from tests.benchmarks import bench_fleet


def test_every_row_of_every_board_is_there_once() -> None:
    if local_postgres.binaries() is None:
        pytest.skip("needs PostgreSQL: apt install postgresql")
    whole, broken = bench_fleet.flaky(vehicles=8, days=2, logs=2, threads=4)
    assert whole == 8
    assert broken > 8, "the connections broke nothing"
