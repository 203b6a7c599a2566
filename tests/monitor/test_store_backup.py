"""Copies that are proved before they count, the way back, and the night's chores."""
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from monitor.logbook.reader import Reader
from monitor.process.maintenance import Maintenance
from monitor.store import backup, lock
from monitor.store.open_log import OpenLog
from monitor.store.writer import Writer
from tests import store_fixture
from tests.vehicle_by_hand import daemon, live


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return store_fixture.fill(tmp_path_factory.mktemp("log") / "ampledger.db", 0.2, beat_s=60.0)


@pytest.fixture
def database(filled: Path, tmp_path: Path) -> Path:
    with closing(sqlite3.connect(filled)) as source, closing(sqlite3.connect(tmp_path / "ampledger.db")) as target:
        source.backup(target)
    return tmp_path / "ampledger.db"


def test_a_copy_of_a_log_that_is_being_written_is_whole(tmp_path: Path) -> None:
    life = daemon(tmp_path / "ampledger.db")
    live(life, 300)
    life.daemon.writer.flush()
    stop, copies = threading.Event(), []

    def copy() -> None:
        while not stop.is_set():
            copies.append(backup.backup(tmp_path / "ampledger.db", tmp_path / "stick" / "copy.db").minutes)

    copier = threading.Thread(target=copy)
    copier.start()
    for _ in range(5):
        live(life, 60)
        life.daemon.writer.flush()
    stop.set()
    copier.join(30)
    life.daemon.close()
    assert copies == sorted(copies) and copies[-1] >= 5
    assert Reader(tmp_path / "stick" / "copy.db").now() is not None
    assert [f.name for f in (tmp_path / "stick").iterdir()] == ["copy.db"]


def test_a_copy_that_is_not_good_never_gets_its_name(database: Path, tmp_path: Path) -> None:
    with open(database, "r+b") as file:
        file.truncate(database.stat().st_size // 2)
    with pytest.raises(backup.NotCopied):
        backup.backup(database, tmp_path / "stick" / "copy.db")
    assert list((tmp_path / "stick").iterdir()) == []
    with pytest.raises(backup.NotCopied, match="the log itself"):
        backup.backup(database, database)
    with pytest.raises(backup.NotCopied, match="no log"):
        backup.backup(tmp_path / "none.db", tmp_path / "copy.db")


def test_a_restore_keeps_the_log_that_was_there_and_refuses_while_the_daemon_writes(database: Path, tmp_path: Path) -> None:
    copy = tmp_path / "stick" / "copy.db"
    backup.backup(database, copy)
    spans = Reader(database).span()
    OpenLog(database).sql("delete from minutes")
    with lock.hold_lock(database), pytest.raises(backup.NotCopied, match="stop it first"):
        backup.restore(copy, database)
    proof = backup.restore(copy, database)
    assert proof.minutes == 288 and Reader(database).span() == spans
    assert (tmp_path / "ampledger.before-restore-1.db").exists()
    (tmp_path / "letter.db").write_text("Dear reader " * 100)
    with pytest.raises(backup.NotCopied):
        backup.restore(tmp_path / "letter.db", database)
    assert Reader(database).span() == spans


def test_one_log_belongs_to_one_daemon(database: Path) -> None:
    with lock.hold_lock(database) as first, lock.hold_lock(database) as second:
        assert first and not second
    with lock.hold_lock(database) as third:
        assert third


def test_the_night_thins_checks_and_copies_and_tells_a_failure_once(database: Path, tmp_path: Path) -> None:
    told: list[tuple[str, str]] = []
    writer = Writer(database)
    writer.start()
    chores = Maintenance(writer, database, raw_days=400, backup_to=tmp_path / "stick", tell=lambda *news: told.append(news), same_card=True)
    for name in ("2020-01-01", "2020-01-02", "2020-01-03"):
        (tmp_path / "stick").mkdir(exist_ok=True)
        (tmp_path / "stick" / f"ampledger-{name}.db").write_text("an old copy")
    chores.night()
    names = sorted(f.name for f in (tmp_path / "stick").iterdir())
    assert len(names) == 3 and "ampledger-2020-01-01.db" not in names and not told
    (tmp_path / "stick").rename(tmp_path / "gone")
    (tmp_path / "stick").write_text("a file where the stick was")
    chores.night()
    chores.night()
    assert [kind for kind, _ in told] == ["chore_failed"] and "backup" in told[0][1]
    (tmp_path / "stick").unlink()
    (tmp_path / "stick").mkdir()
    chores.night()
    assert [kind for kind, _ in told] == ["chore_failed", "chore_works"]
    writer.close()


def test_a_night_that_was_slept_through_is_made_up_for_once(database: Path, tmp_path: Path) -> None:
    done = threading.Event()
    writer = Writer(database)
    writer.start()
    chores = Maintenance(writer, database, raw_days=400, backup_to=tmp_path / "stick", tell=lambda *news: None, same_card=True)
    night = chores.night
    chores.night = lambda: (night(), done.set())
    chores.start()
    assert chores.alive() and chores.next_run_utc() is not None
    chores.overdue(20 * 3600.0)
    writer.ask(lambda c: None).result(10)
    chores.overdue(20 * 3600.0)
    assert not done.is_set()
    chores.overdue(27 * 3600.0)
    assert done.wait(20)
    done.clear()
    chores.overdue(28 * 3600.0)
    chores.rearm()
    assert chores.next_run_utc() is not None and not done.wait(0.3)
    chores.close()
    writer.close()
