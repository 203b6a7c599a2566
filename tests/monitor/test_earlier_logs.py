"""A log that each earlier shape of the program wrote is opened by this one: every row is kept, and so is what was learnt."""
import gzip
import json
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import pytest

from monitor import pipeline
from monitor.logbook.reader import Reader
from monitor.process.relearning import Relearning
from monitor.store import migrate
from tests.earlier_logs import make
from tests.hand_clock import NETWORK, HandClock
from tests.store_fixture import BEGINS_UTC_S, VEHICLE
from tests.vehicle_by_hand import REST, daemon, live

FOLDER = Path(make.__file__).parent
SHAPES = sorted(path.name[:4] for path in FOLDER.glob("*.db.gz"))
KEPT = ("minutes", "events", "alerts", "forecasts", "hours")


def unpacked(shape: str, folder: Path) -> Path:
    database = folder / "ampledger.db"
    database.write_bytes(gzip.decompress((FOLDER / f"{shape}.db.gz").read_bytes()))
    return database


def counts(database: Path) -> dict[str, int]:
    with closing(sqlite3.connect(database)) as log:
        return {table: log.execute(f"select count(*) from {table}").fetchone()[0] for table in KEPT}


def test_there_is_a_log_of_every_shape() -> None:
    assert sorted(make.WRITTEN_BY) == SHAPES and SHAPES[-1] == migrate.HEAD


@pytest.mark.parametrize("shape", SHAPES)
def test_a_log_of_an_earlier_program_goes_on_with_its_rows_and_what_was_learnt(shape: str, tmp_path: Path) -> None:
    database, learnt = unpacked(shape, tmp_path), json.loads((FOLDER / f"{shape}.json").read_text())
    before, end_s = counts(database), learnt["days"] * 86400
    with closing(sqlite3.connect(database)) as log:
        samples = log.execute("select count(*) from samples").fetchone()[0]
        assert migrate.version_of(log) == shape
    clock = HandClock(boot_s=50.0, utc_s=BEGINS_UTC_S + end_s + 50.0, boot="after the upgrade", trust=NETWORK)
    life = daemon(database, clock=clock, vehicle=VEHICLE, relearning=Relearning)
    until, lived_s = time.monotonic() + 300, 180.0
    while life.daemon._relearner.run is not None and time.monotonic() < until:
        live(life, 1)
        lived_s += 1.0
        time.sleep(0.01)
    assert life.daemon._relearner.run is None
    live(life, 180)
    assert life.daemon.close()
    with closing(sqlite3.connect(database)) as log:
        assert migrate.version_of(log) == migrate.HEAD
    after = counts(database)
    assert all(after[table] >= before[table] for table in KEPT), (before, after)
    reader = Reader(database)
    assert sum(at < BEGINS_UTC_S + end_s + 1 for at, _ in reader.rows(-1)) == samples
    now = reader.now()
    assert now is not None and not now.simulated
    charge = now.findings.charge
    # as sure as it was and the same within what either says: it is not begun afresh, where nothing is known
    was, fresh = learnt["charge_frac"], pipeline.house_charge.findings(pipeline.begin(VEHICLE).charge, VEHICLE)
    assert charge.charge_frac.low <= was[2] and was[1] <= charge.charge_frac.high
    assert charge.charge_frac.high - charge.charge_frac.low < 0.6 and not hasattr(fresh.charge_frac, "value")
    assert learnt["capacity_ah"][1] <= charge.capacity_ah.value <= learnt["capacity_ah"][2]
    assert now.findings.counts.total.spent_ah == pytest.approx(learnt["spent_ah"] - REST["house_current_a"] * lived_s / 3600.0, rel=0.02)
    kinds = [e.what.kind for e in reader.events()]
    assert "relearning_failed" not in kinds
