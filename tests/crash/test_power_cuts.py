"""Power cuts: real daemons killed at any moment, logs truncated at any byte. Nothing promised is lost, nothing counted twice."""
import random
import shutil
from pathlib import Path

import pytest

from monitor.store.open_log import OpenLog
from tests.crash.cuts import Victims, look
from tests.vehicle_by_hand import daemon, live

CUTS = 24
#: while it starts or migrates; between two minutes; while it writes; after some minutes
MOMENTS = (
    lambda chance: (0, chance.uniform(0.0, 0.2)), lambda chance: (1, chance.uniform(0.0, 0.03)),
    lambda chance: (chance.randrange(5, 8), 0.0), lambda chance: (chance.randrange(2, 8), chance.uniform(0.0, 0.03)),
)


@pytest.fixture(scope="module")
def victims():
    with Victims() as ready:
        yield ready


def test_a_kill_at_any_moment_costs_at_most_one_batch_and_no_event(victims: Victims, tmp_path: Path) -> None:
    chance, promised = random.Random(20261125), set()
    for cut in range(CUTS):
        said = victims.cut(tmp_path, *MOMENTS[cut % len(MOMENTS)](chance))
        promised |= said.events
        left = look(tmp_path / "ampledger.db") if (tmp_path / "ampledger.db").exists() else None
        if left is None:
            continue
        assert left.sound, f"cut {cut}"
        assert promised <= left.events, f"cut {cut}: events that the log had called safe are gone"
        if len(said.minutes) >= 2:  # the last one may have been on its way
            assert left.minute_s >= said.minutes[-2], f"cut {cut}: more than one batch is lost"
        assert left.lost_parts == ()
        assert left.spent_ah == pytest.approx(left.rows_ah, abs=1e-4), f"cut {cut}: state and rows differ"
        assert left.spent_ah == pytest.approx(left.expected_ah, abs=1e-6), f"cut {cut}: counted twice, or not at all"
    assert len(promised) >= 3, "the daemons lived too short to prove anything"


def test_in_the_economy_mode_too_events_are_safe_and_one_batch_is_the_most(victims: Victims, tmp_path: Path) -> None:
    """Five minutes in a transaction: an event hurries it."""
    chance, promised = random.Random(5), set()
    for cut in range(4):
        said = victims.cut(tmp_path, chance.randrange(4, 9), chance.uniform(0, 0.03), commit_s=300.0)
        promised |= said.events
        left = look(tmp_path / "ampledger.db")
        assert left.sound and promised <= left.events
        assert left.spent_ah == pytest.approx(left.rows_ah, abs=1e-4)
        assert left.spent_ah == pytest.approx(left.expected_ah, abs=1e-6)
    assert promised


@pytest.fixture(scope="module")
def cut_log(tmp_path_factory: pytest.TempPathFactory, victims: Victims) -> Path:
    """A log as a kill left it: the file, and a -wal with some minutes that were not brought into it yet."""
    folder = tmp_path_factory.mktemp("cut")
    while not (folder / "ampledger.db-wal").exists() or (folder / "ampledger.db-wal").stat().st_size < 200_000:
        victims.cut(folder, 8, 0.0)
    return folder


def copied(cut_log: Path, folder: Path) -> Path:
    folder.mkdir()
    for name in ("ampledger.db", "ampledger.db-wal"):
        shutil.copy(cut_log / name, folder / name)
    return folder / "ampledger.db"


def test_a_wal_that_ends_at_any_byte_gives_a_whole_earlier_moment(cut_log: Path, tmp_path: Path) -> None:
    """As when the last writes never reached the card: rows and state always agree, for they come in one transaction."""
    chance, seen = random.Random(3), set()
    size = (cut_log / "ampledger.db-wal").stat().st_size
    for number in range(20):
        database = copied(cut_log, tmp_path / str(number))
        with open(f"{database}-wal", "r+b") as wal:
            wal.truncate(chance.randrange(size))
        with open(f"{database}-wal", "r+b") as wal:  # and a torn sector in front of the end
            end = wal.seek(0, 2)
            if number % 2 and end > 600:
                wal.seek(end - 512)
                wal.write(chance.randbytes(512))
        left = look(database)
        assert left.sound and left.spent_ah == pytest.approx(left.rows_ah, abs=1e-4)
        assert left.spent_ah == pytest.approx(left.expected_ah, abs=1e-6)
        seen.add(left.minute_s)
    assert len(seen) > 3


def test_a_file_that_ends_at_any_byte_is_set_aside_and_life_goes_on(cut_log: Path, tmp_path: Path) -> None:
    chance, aside = random.Random(4), 0
    for number in range(5):
        database = copied(cut_log, tmp_path / str(number))
        OpenLog(database).close()  # brings the -wal into the file
        with open(database, "r+b") as file:
            file.truncate(chance.randrange(1, database.stat().st_size))
        before = database.read_bytes()
        life = daemon(database)
        live(life, 130, 10.0)
        assert life.daemon.close()
        kept = database.with_name("ampledger.damaged-1.db")
        if kept.exists():
            aside += 1
            assert kept.read_bytes() == before, "what was damaged must be kept whole"
        assert look(database).sound
    assert aside >= 3
