"""Faults in any file of a log end in rows that are right or gone with a word about it; bench_faults tries 2,000."""
import os
import sys
from pathlib import Path

from monitor.store import salvage
from monitor.store.open_log import OpenLog
from tests.crash.faults import judge, rows_of, whole_log

FAULTS = 25


def test_no_fault_changes_a_row_in_silence(tmp_path: Path) -> None:
    (tmp_path / "whole").mkdir()
    whole = whole_log(tmp_path / "whole")
    rows = rows_of(whole)
    for seed in range(FAULTS):
        left = judge(whole, rows, tmp_path / "hurt", seed)
        assert left.changed == 0, f"fault {seed} ({left.kind})"
        assert not left.gone or "Missing" in left.told, f"fault {seed} ({left.kind}): {left.gone} rows are gone and nobody says so"


def test_a_salvage_that_is_killed_at_any_step_begins_again_and_loses_nothing_more(tmp_path: Path) -> None:
    (tmp_path / "whole").mkdir()
    whole = whole_log(tmp_path / "whole")
    rows = rows_of(whole)
    database = tmp_path / "whole" / "ampledger.db"
    for stop in (0, 3, 5, 6, 7, 8, 9, 11, 13):
        pid = os.fork()
        if pid == 0:
            left = stop

            def hook(event: str, _: object) -> None:
                nonlocal left
                if event in ("os.rename", "os.link", "os.remove", "sqlite3.connect"):
                    left -= 1
                    if left < 0:
                        os._exit(7)

            sys.addaudithook(hook)
            salvage.rescue(database, "tried")
            os._exit(0)
        os.waitpid(pid, 0)
        if salvage.unfinished(database):
            salvage.rescue(database, "again")
        OpenLog(database).close()
        assert rows_of(database) == rows, f"killed at step {stop}"
        assert not salvage.unfinished(database)
