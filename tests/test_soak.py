"""A day of life in seconds, with instruments that fail and return: nothing is held on to. `make bench` lives sixty."""
import sqlite3
from contextlib import closing
from pathlib import Path

from tests.soak import lived


def test_a_day_of_failing_sensors_and_a_lost_clock_leave_threads_files_and_memory_as_they_were(tmp_path: Path) -> None:
    marks = list(lived(tmp_path, 1.2, 60.0, 0.2))
    early, late = marks[2], marks[-2]
    assert late.threads == early.threads and late.files == early.files
    assert late.memory_mb - early.memory_mb < 8.0
    assert late.objects - early.objects < 4000
    with closing(sqlite3.connect(tmp_path / "ampledger.db")) as log:
        reasons = {reason.partition(": ")[2][:12] for (reason,) in log.execute("select reason from gaps")}
        assert len(reasons) >= 3, "all kinds of trouble befell them"
        assert log.execute("select count(*) from minutes").fetchone()[0] > 1680
