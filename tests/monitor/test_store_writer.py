"""The writer against a real file: what was offered is there, whatever happens to the disk."""
import shutil
import sqlite3
import subprocess
import threading
import time
from contextlib import closing
from pathlib import Path

import pytest

from monitor.findings import Event
from monitor.logbook.reader import Reader
from monitor.sample import Sample
from monitor.store import disk_reserve, salvage, saving
from monitor.store.batch import Batch, TimeLabel
from monitor.store.open_log import OpenLog
from monitor.store.past import FolderFiles, Past
from monitor.store.writer import Writer
from tests.store_fixture import VEHICLE

META = {"simulated": "1", "vehicle": saving.to_text(VEHICLE)}
QUICK = (0.05,)


def rows(database: Path, question: str) -> list[tuple]:
    with closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True)) as log:
        return log.execute(question).fetchall()


def happened(number: int) -> Batch:
    """One event with the sample of its moment."""
    return Batch(samples=(Sample(float(number), 12.5, -1.0),), events=(Event(float(number), "tried", "vehicle", f"number {number}"),))


@pytest.fixture
def writer(tmp_path: Path):
    made = Writer(tmp_path / "ampledger.db", meta=META, pauses_s=QUICK, ballast_bytes=65536)
    made.start()
    yield made
    made.close()


def test_an_event_is_on_the_disk_at_once_and_a_minute_may_wait(writer: Writer) -> None:
    writer.offer(Batch(samples=(Sample(1.0, 12.5),)))
    writer.offer(happened(2))
    assert writer.flush()
    assert rows(writer.database, "select message from events") == [("number 2",)]
    assert rows(writer.database, "select at_ms, house_voltage_mv from samples") == [(1000, 12500), (2000, 12500)]


def test_writing_the_same_batch_again_changes_nothing(writer: Writer) -> None:
    for _ in range(3):
        writer.offer(Batch(samples=(Sample(1.0, 12.5),), labels=(TimeLabel(0.0, "boot", 1e9, 1.0, True, "test"),)))
        assert writer.flush()
    assert rows(writer.database, "select count(*) from samples") == [(1,)]
    assert rows(writer.database, "select at_ms, utc_offset_ms from boots") == [(0, 10**12)]


def test_readings_without_minutes_are_committed_in_time_too(tmp_path: Path) -> None:
    """Where the trackers fail on every minute there are no rows of minutes."""
    writer = Writer(tmp_path / "ampledger.db", meta=META, pauses_s=QUICK, ballast_bytes=65536)
    writer.start()
    until = time.monotonic() + 20
    for number in range(1, 70):
        writer.offer(Batch(samples=(Sample(float(number), 12.5),)))
    while time.monotonic() < until and not writer.status().commits:
        time.sleep(0.01)
    assert rows(writer.database, "select count(*) >= 60 from samples") == [(1,)]
    writer.close()


def tear(database: Path, page: int) -> bytes:
    """Overwrites a page as a worn card might; returns the file as it is then."""
    with open(database, "r+b") as file:
        file.seek(16)  # the size of a page, of the file format's header
        size = int.from_bytes(file.read(2), "big")
        file.seek((page - 1) * size)
        file.write(b"\xa5" * size)
    return database.read_bytes()


@pytest.fixture(scope="module")
def long_log(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, list[int]]]:
    """A log of 6,300 samples, 300 of them with an event, and the leaf pages of each table. To be copied with what lies beside it."""
    database = tmp_path_factory.mktemp("long") / "ampledger.db"
    writer = Writer(database, meta=META, pauses_s=QUICK)
    writer.start()
    writer.offer(Batch(samples=tuple(Sample(float(n), 12.5, -1.0) for n in range(1, 6001)),
                       labels=(TimeLabel(0.0, "boot", 1e9, 1.0, True, "test"),)))
    for number in range(6001, 6301):
        writer.offer(happened(number))
    assert writer.flush() and writer.close()
    pages: dict[str, list[int]] = {}
    for name, page in rows(database, "select name, pageno from dbstat where pagetype = 'leaf' order by name, path"):
        pages.setdefault(name, []).append(page)
    return database, pages


def test_a_damaged_log_is_set_aside_whole_and_what_can_be_read_lives_on(tmp_path: Path, long_log) -> None:
    database = Path(shutil.copytree(long_log[0].parent, tmp_path, dirs_exist_ok=True)) / "ampledger.db"
    torn = tear(database, long_log[1]["events"][-1])
    writer = Writer(database, meta=META, pauses_s=QUICK)
    writer.start()
    writer.offer(happened(30000))
    assert writer.flush(20) and writer.close()
    assert (tmp_path / "ampledger.damaged-1.db").read_bytes() == torn
    kinds = dict(rows(database, "select kind, count(*) from events group by kind"))
    assert 100 <= kinds["tried"] <= 301 and kinds["log_damaged"] == 1
    assert rows(database, "select count(*) from samples") == [(6301,)]
    assert rows(database, "select count(*) from boots") == [(1,)]
    assert rows(database, "pragma integrity_check") == [("ok",)]


def test_a_hole_in_the_middle_costs_the_hole_and_not_what_lies_behind_it(tmp_path: Path, long_log) -> None:
    database = Path(shutil.copytree(long_log[0].parent, tmp_path, dirs_exist_ok=True)) / "ampledger.db"
    leaves = long_log[1]["samples"]
    tear(database, leaves[len(leaves) // 2])
    new = OpenLog(tmp_path / "new.db")
    brought = salvage.bring_over(database, new.connection, Past(FolderFiles(tmp_path / "none"))).rows
    new.close()
    assert 6300 - brought["samples"] < 2.5 * 6300 / len(leaves)
    assert rows(tmp_path / "new.db", "select min(at_ms), max(at_ms) from samples") == [(1000, 6300000)]


def test_something_that_is_no_log_is_set_aside_too(tmp_path: Path) -> None:
    database = tmp_path / "ampledger.db"
    database.write_bytes(b"not a database at all " * 1000)
    writer = Writer(database, meta=META, pauses_s=QUICK)
    writer.start()
    writer.offer(happened(1))
    assert writer.flush()
    writer.close()
    assert (tmp_path / "ampledger.damaged-1.db").read_bytes() == b"not a database at all " * 1000
    assert dict(rows(database, "select kind, count(*) from events group by kind")) == {"tried": 1, "log_damaged": 1}


def test_a_log_that_is_removed_while_open_is_noticed(writer: Writer) -> None:
    """SQLite itself would go on writing into the file that nobody can see any more."""
    writer.offer(happened(1))
    assert writer.flush()
    writer.database.unlink()
    writer.offer(happened(2))
    assert writer.flush()
    assert ("number 2",) in rows(writer.database, "select message from events")


def test_jobs_run_on_the_one_connection_and_their_mistakes_go_to_the_asker(writer: Writer) -> None:
    assert writer.ask(lambda c: c.exec_driver_sql("pragma synchronous").fetchone()[0]).result(10) == 2  # full
    names = []
    writer.ask(lambda c: names.append(threading.current_thread().name)).result(10)
    assert names == ["log writer"]
    with pytest.raises(ZeroDivisionError):
        writer.ask(lambda c: 1 / 0).result(10)
    writer.offer(happened(1))
    assert writer.flush() and writer.status().writing


@pytest.fixture
def small_disk(tmp_path: Path):
    """A file system of its own of 3 MB, in memory."""
    place = tmp_path / "card"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(place)], capture_output=True, text=True)
    if mounted.returncode:
        pytest.skip(f"needs the right to mount a small file system (run as root): {mounted.stderr.strip()}")
    yield place
    subprocess.run(["umount", "-l", str(place)], check=True)


def test_a_full_disk_costs_no_alert_and_writing_goes_on_when_there_is_room(small_disk: Path) -> None:
    writer = Writer(small_disk / "ampledger.db", meta=META, pauses_s=QUICK, ballast_bytes=131072)
    writer.start()
    writer.offer(happened(1))
    assert writer.flush()
    filler = small_disk / "filler"
    with open(filler, "wb", buffering=0) as file:
        try:
            while True:
                file.write(b"\0" * 4096)
        except OSError:
            pass
    for number in range(2, 12000):
        writer.offer(happened(number))
    assert not writer.flush(3)
    assert writer.condition().active and "full" in writer.condition().evidence
    filler.unlink()
    assert writer.flush(20) and not writer.condition().active
    writer.close()
    found = rows(writer.database, "select count(distinct message) from events where kind = 'tried'")
    assert found[0][0] >= 2000  # the latest of what waited is never given up
    assert rows(writer.database, "select count(*) from events where kind = 'log_written_again'") == [(1,)]
    assert rows(writer.database, "pragma integrity_check") == [("ok",)]


def test_a_file_system_that_turns_read_only_is_waited_for(small_disk: Path) -> None:
    writer = Writer(small_disk / "ampledger.db", meta=META, pauses_s=QUICK, ballast_bytes=65536)
    writer.start()
    writer.offer(happened(1))
    assert writer.flush()
    writer.close()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    writer = Writer(small_disk / "ampledger.db", meta=META, pauses_s=QUICK, ballast_bytes=65536)
    writer.start()
    writer.offer(happened(2))
    assert not writer.flush(1)
    assert writer.condition().active
    subprocess.run(["mount", "-o", "remount,rw", str(small_disk)], check=True)
    assert writer.flush(10) and not writer.condition().active
    writer.close()
    assert [m for (m,) in rows(writer.database, "select message from events where kind = 'tried' order by id")] == ["number 1", "number 2"]


def test_a_card_that_is_pulled_out_begins_no_new_log_in_its_place(small_disk: Path, tmp_path: Path) -> None:
    place = tmp_path / "mounted"
    place.mkdir()
    subprocess.run(["mount", "--bind", str(small_disk), str(place)], check=True)
    writer = Writer(place / "ampledger.db", meta=META, pauses_s=QUICK, ballast_bytes=65536)
    writer.start()
    try:
        writer.offer(happened(1))
        assert writer.flush()
        subprocess.run(["umount", "-l", str(place)], check=True)
        writer.offer(happened(2))
        assert not writer.flush(1) and "gone" in writer.status().why
        assert not list(place.iterdir())
        subprocess.run(["mount", "--bind", str(small_disk), str(place)], check=True)
        assert writer.flush(20)
    finally:
        writer.close()
        subprocess.run(["umount", "-l", str(place)], check=False)
    assert [m for (m,) in rows(small_disk / "ampledger.db", "select message from events where kind = 'tried' order by id")] == [
        "number 1", "number 2"]


def test_the_ballast_is_freed_when_the_disk_is_full(small_disk: Path) -> None:
    database = small_disk / "ampledger.db"
    assert disk_reserve.hold(database, 1_000_000, room=65536)
    free = disk_reserve.free_bytes(database)
    assert disk_reserve.give_up(database) and disk_reserve.free_bytes(database) >= free + 1_000_000
    assert not disk_reserve.give_up(database)
    assert not disk_reserve.hold(database, 64 * 1024 * 1024)


def test_reader_and_writer_live_side_by_side(writer: Writer) -> None:
    writer.offer(Batch(labels=(TimeLabel(0.0, "boot", 1e9, 1.0, True, "test"),)))
    seen = []
    for number in range(1, 30):
        writer.offer(happened(number))
        assert writer.flush()
        seen.append(len(Reader(writer.database).events()))
    assert seen == list(range(1, 30))
