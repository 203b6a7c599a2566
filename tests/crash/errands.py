"""Errands at a log, each as a process of its own: `python -m tests.crash.errands migrate|salvage|restore|relearn DATABASE`; and how a card
on which one was cut off is judged."""
import gzip
import random
import shutil
import sys
import time
from collections.abc import Callable
from pathlib import Path

from monitor import pipeline
from monitor.alerts import rules
from monitor.logbook import resume
from monitor.process.relearning import Relearning
from monitor.sampling.gather import Gathering
from monitor.store import backup, check, checksum, restoring, salvage, set_aside
from monitor.store.open_log import OpenLog
from monitor.store.state import State
from tests import store_fixture
from tests.crash import file_layer
from tests.crash.faults import missing_of, rows_of
from tests.earlier_logs import make
from tests.hand_clock import NETWORK, HandClock
from tests.store_fixture import BEGINS_UTC_S, VEHICLE
from tests.vehicle_by_hand import daemon, live

DAYS = {"relearn": 0.5}  # of a log in its present shape; 2 for the others
PART = "watch.counts"
EARLIER = Path(make.__file__).parent


def copy_beside(database: Path) -> Path:
    """The copy that a restore puts in place of this log."""
    return database.with_name("copy.db")


def migrate(database: Path) -> None:
    """Opens a log of an earlier shape and brings over what can be."""
    log = OpenLog(database)
    while checksum.fill(log.sql):
        pass
    for _ in range(40):
        log.pack()
    log.close()


def salvage_it(database: Path) -> None:
    """Sets a damaged log aside and brings over what can be read."""
    restoring.finish(database)
    salvage.rescue(database, "tried")


def restore(database: Path) -> None:
    """Puts the copy in its place."""
    restoring.put_in_place(copy_beside(database), database)


def relearn(database: Path) -> None:
    """A daemon that learns a part again while it measures, and ends."""
    later_s = DAYS["relearn"] * 86400 + 30.0
    clock = HandClock(boot_s=later_s, utc_s=BEGINS_UTC_S + later_s, trust=NETWORK)
    life = daemon(database, clock=clock, simulated=True, relearning=Relearning)
    until = time.monotonic() + 240  # its process has the lowest priority
    while life.daemon._relearner.run is not None and time.monotonic() < until:
        live(life, 1)
        time.sleep(0.005)
    live(life, 70)
    life.daemon.close()


ERRANDS: dict[str, Callable[[Path], None]] = {"migrate": migrate, "salvage": salvage_it, "restore": restore, "relearn": relearn}


def damage(database: Path) -> None:
    """Writes over a page of minutes in the middle of the file."""
    with open(database, "r+b") as file:
        file.seek(database.stat().st_size // 2 // 1024 * 1024)
        file.write(b"\xa5" * 1024)


def judge(errand: str, before: Path, done: Path, cut: Path) -> str:
    """What is wrong after a start on a card on which an errand was cut off, "" where nothing is.

    Parameters
    ----------
    errand : which one
    before, done : the log as it was, and as the errand leaves it when nothing happens
    cut : the log on the card
    """
    fresh = State(pipeline.begin(VEHICLE), rules.begin(), Gathering())
    if errand == "salvage":
        found = resume.read(cut, fresh)
        if found.trouble == "damaged" or check.check(cut).present:
            salvage_it(cut)
        log = OpenLog(cut)
        told = log.meta(checksum.DAMAGE) or ""
        log.close()
        if "Missing: " not in told:
            return "the log does not tell what is missing"
        return _differs(rows_of(done), cut) or ("" if missing_of(cut) == missing_of(done) else "other rows are named as missing")
    if errand == "restore":
        OpenLog(cut).close()
        now = rows_of(cut)
        if now == rows_of(done):
            kept = list(cut.parent.glob("*before-restore*.db"))
            return "" if len(kept) == 1 and rows_of(kept[0]) == rows_of(before) else "the log that was there is not kept whole"
        return "" if now == rows_of(before) else "it is neither the one log nor the other"
    found = resume.read(cut, fresh)
    if found.trouble or found.tail_lost_s:
        return f"the start finds it {found.trouble or 'shorter'}: {found.why}"
    if errand == "migrate":
        migrate(cut)
        return _differs(rows_of(done), cut)
    whole_ah = resume.read(done, fresh).state.watch.counts.total.spent_ah
    if found.state.watch.counts.total.spent_ah < 0.9 * whole_ah and PART not in found.lost and "counts" not in found.relearning:
        return "what was to be learnt again is neither there nor asked for"
    relearn(cut)
    again = resume.read(cut, fresh)
    learnt_ah = again.state.watch.counts.total.spent_ah
    if again.lost or again.relearning or not 0.95 * whole_ah < learnt_ah < 1.05 * whole_ah:
        return f"it did not learn again: {again.lost or again.relearning or learnt_ah} of {whole_ah}"
    gone = rows_of(before)["raw"].keys() - rows_of(cut)["raw"].keys()
    return f"{len(gone)} readings are gone" if gone else ""


def _differs(right: dict, database: Path) -> str:
    now = rows_of(database)
    for table, rows in right.items():
        if now[table] != rows:
            odd = [key for key in {**rows, **now[table]} if rows.get(key) != now[table].get(key)]
            return f"{table}: {len(odd)} rows differ, {odd[0]}: {rows.get(odd[0])} became {now[table].get(odd[0])}"
    return "" if check.check(database).sound and not set_aside.why_unfinished(database) else "it is not sound"


def unpack(errand: str, folder: Path, whole: Path) -> Path:
    """A folder with a log for an errand.

    Parameters
    ----------
    errand : which one
    folder : empty
    whole : a log in its present shape, or one of an earlier one for migrate
    """
    folder.mkdir(parents=True, exist_ok=True)
    database = folder / "ampledger.db"
    for file in whole.parent.glob(f"{whole.name}*"):
        (shutil.copytree if file.is_dir() else shutil.copy)(file, folder / file.name)
    if errand == "salvage":
        damage(database)
    elif errand == "restore":
        other = folder / "other" / "ampledger.db"
        OpenLog(other, {"simulated": "1"}).close()
        backup.backup(other, copy_beside(database))
        shutil.rmtree(folder / "other")
    elif errand == "relearn":
        from tests.monitor.test_relive import hurt

        hurt(database, PART)
    return database


def log_for(errand: str, shape: str, folder: Path) -> Path:
    """The log that an errand begins with."""
    database = folder / "ampledger.db"
    if shape:
        folder.mkdir(parents=True)
        database.write_bytes(gzip.decompress((EARLIER / f"{shape}.db.gz").read_bytes()))
        return database
    return store_fixture.fill(database, DAYS.get(errand, 2.0), beat_s=60.0)


def cut_off(layer: Path, top: Path, errand: str, shape: str, cuts: int, seed: int = 1) -> list[str]:
    """What went wrong after power cuts at so many operations of an errand.

    layer: from build(); top: an empty folder; errand: which; shape: of an earlier log, or ""; cuts: how many; seed: which ones.
    """
    whole = log_for(errand, shape, top / "whole")
    before, done = unpack(errand, top / "before", whole), unpack(errand, top / "card", whole)
    card, chance = file_layer.Card(top / "card"), random.Random(seed)
    ran = file_layer.run(layer, ["tests.crash.errands", errand, str(done)], top / "card", trace=top / "trace")
    assert ran.returncode == 0, ran.stderr
    operations = file_layer.read_trace(top / "trace")
    moments = set(chance.sample(range(len(operations)), min(cuts, len(operations))))
    wrong = []
    for number, operation in enumerate(operations):
        card.take(operation)
        if number in moments:
            card.cut(top / "card", top / "cut", chance)
            try:
                said = judge(errand, before, done, top / "cut" / whole.name)
            except Exception as error:  # a miss like any other
                said = f"{type(error).__name__}: {error}"
            if said:
                wrong.append(f"cut at operation {number} of {len(operations)} ({operation.kind} {Path(operation.path).name}): {said}")
            shutil.rmtree(top / "cut")
    return wrong


if __name__ == "__main__":
    ERRANDS[sys.argv[1]](Path(sys.argv[2]))
