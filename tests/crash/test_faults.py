"""Faults in any file of a log end in rows that are right or gone with a word about it; bench_faults tries 2,000."""
import os
import shutil
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest

from monitor.store import carving, commit_mark, past, salvage, set_aside
from monitor.store.open_log import OpenLog
from tests.crash.faults import Rows, judge, look, rows_of, whole_log

FAULTS = 25
#: An hour of raw readings lies in a page of its own and those behind it: of six columns at 120 s 30 rows.
LOST_BY_A_PAGE = 40


@pytest.fixture(scope="module", params=("closed", "running"))
def log_and_rows(request, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Rows]:
    """A whole log, closed or as it lies while a daemon writes, and all that is in it."""
    folder = tmp_path_factory.mktemp(request.param)
    whole = whole_log(folder, running=request.param == "running")
    shutil.copytree(whole.parent, folder / "read")
    return whole, rows_of(folder / "read" / whole.name)


def test_no_fault_changes_a_row_in_silence(log_and_rows: tuple[Path, Rows], tmp_path: Path) -> None:
    whole, rows = log_and_rows
    for seed in range(FAULTS):
        left = judge(whole, rows, tmp_path / "hurt", seed)
        assert left.good, f"fault {seed} ({left.kind}): {left}"


def test_a_damaged_page_costs_what_lies_in_it_the_first_page_and_the_roots_of_tables_among_them(
        log_and_rows: tuple[Path, Rows], tmp_path: Path) -> None:
    whole, rows = log_and_rows
    with closing(sqlite3.connect(f"file:{whole}?mode=ro&immutable=1", uri=True)) as log:
        size = log.execute("pragma page_size").fetchone()[0]
        inside = [page for (page,) in log.execute("select pageno from dbstat where pagetype = 'internal' and name not like '%auto%'")]
    wal = whole.with_name(whole.name + "-wal")
    latest = carving.wal_frames(wal.read_bytes(), size)[0] if wal.exists() else {}
    for page in sorted({1, *tables_of_file(whole), *inside}):
        fresh_copy(whole, tmp_path / "hurt")
        database = tmp_path / "hurt" / whole.name
        place = (latest[page], wal.name) if page in latest else ((page - 1) * size, whole.name)
        with open(database.with_name(place[1]), "r+b") as file:
            file.seek(place[0])
            file.write(b"\xa5" * size)
        left = look(rows, database, f"page {page}", [])
        assert left.good and left.gone <= LOST_BY_A_PAGE, f"{left}"
        if page == 1:
            assert left.gone == 0, f"the first page holds no row: {left}"


def test_a_damaged_place_in_the_live_write_ahead_log_costs_its_page_and_not_what_was_written_after_it(tmp_path: Path) -> None:
    whole = whole_log(tmp_path, running=True)
    shutil.copytree(whole.parent, tmp_path / "read")
    rows = rows_of(tmp_path / "read" / whole.name)
    size = whole.with_name(whole.name + "-wal").stat().st_size
    for place in (0, 9, 17, 25, 40, 50, size // 3, size // 2, size - 5000):
        fresh_copy(whole, tmp_path / "hurt")
        database = tmp_path / "hurt" / whole.name
        wal = database.with_name(whole.name + "-wal")
        body = bytearray(wal.read_bytes())
        body[place] ^= 0x10
        wal.write_bytes(body)
        left = look(rows, database, f"bit at {place}", [])
        assert left.good and left.gone <= LOST_BY_A_PAGE, f"{left}"


def test_a_bit_in_the_name_of_a_column_costs_no_row(log_and_rows: tuple[Path, Rows], tmp_path: Path) -> None:
    whole, rows = log_and_rows
    for name in (b"engine_running_e3", b"house_voltage_low_mv"):
        fresh_copy(whole, tmp_path / "hurt")
        database = tmp_path / "hurt" / whole.name
        body, place = bytearray(database.read_bytes()), -1
        while (place := body.find(name, place + 1)) >= 0:
            body[place + 3] ^= 1
        database.write_bytes(body)
        left = look(rows, database, name.decode(), [])
        assert left.good and left.gone == 0 and "of minutes" not in left.told, f"{left}"


def fresh_copy(whole: Path, folder: Path) -> None:
    """A whole log and its companions, once more."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for file in whole.parent.glob(f"{whole.name}*"):
        if file.suffix != ".ballast":
            shutil.copy(file, folder)
    shutil.copytree(past.folder_of(whole), past.folder_of(folder / whole.name))


def tables_of_file(database: Path) -> set[int]:
    """Where its tables begin."""
    return set(commit_mark.read_map(database).roots.values())


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
        if set_aside.why_unfinished(database):
            salvage.rescue(database, "again")
        OpenLog(database).close()
        assert rows_of(database) == rows, f"killed at step {stop}"
        assert not set_aside.why_unfinished(database)
