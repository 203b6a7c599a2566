"""The log's shape: made new, brought up from every earlier shape with its rows, never down."""
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from sqlalchemy import create_engine

from monitor.logbook.reader import Reader
from monitor.store import migrate, tables
from monitor.store.open_log import OpenLog
from tests import store_fixture
from tests.hand_clock import HandClock
from tests.vehicle_by_hand import daemon

SHAPES = sorted(file.name[1:5] for file in (migrate.FOLDER / "versions").glob("v*.py"))


def made_as(database: Path, shape: str) -> None:
    """An empty log as an earlier ampledger made it."""
    config = Config()
    config.set_main_option("script_location", str(migrate.FOLDER))
    engine = create_engine(f"sqlite:///{database}")
    with engine.connect() as connection:
        config.attributes["connection"] = connection
        command.upgrade(config, shape)
        connection.commit()
    engine.dispose()


def test_a_new_log_has_exactly_the_tables_that_the_program_knows(tmp_path: Path) -> None:
    log = OpenLog(tmp_path / "new.db")
    try:
        assert migrate.version_of(log.connection) == migrate.HEAD == SHAPES[-1]
        assert compare_metadata(MigrationContext.configure(log.connection), tables.metadata) == []
    finally:
        log.close()


@pytest.mark.parametrize("shape", SHAPES)
def test_a_log_of_every_shape_is_brought_up_and_keeps_its_rows(tmp_path: Path, shape: str) -> None:
    """Two hours of rows are put into the old shape, column by column of what it had."""
    full, old = store_fixture.fill(tmp_path / "full.db", 0.09, beat_s=60.0), tmp_path / "old.db"
    made_as(old, shape)
    with closing(sqlite3.connect(old)) as log, log:
        log.execute("attach ? as full", (str(full),))
        for (table,) in log.execute("select name from main.sqlite_master where type = 'table' and name != 'alembic_version'").fetchall():
            names = ", ".join(row[1] for row in log.execute(f"pragma main.table_info({table})"))
            log.execute(f"insert into main.{table} ({names}) select {names} from full.{table}")
    clock = HandClock(boot_s=9000.0)
    life = daemon(old, clock=clock, simulated=True)  # as an upgraded daemon finds it
    assert life.daemon._last.at_s == 7740.0 and life.daemon.state.watch.counts.total.spent_ah > 0
    life.daemon.close()
    assert Reader(old).span() == Reader(full).span()
    assert Reader(old).now().findings == Reader(full).now().findings
    assert len(list(Reader(old).rows())) == len(list(Reader(full).rows()))


def test_a_log_of_a_later_ampledger_is_refused_untouched(tmp_path: Path) -> None:
    database = tmp_path / "later.db"
    OpenLog(database).close()
    with closing(sqlite3.connect(database)) as log, log:
        log.execute("update alembic_version set version_num = '9999'")
    before = database.read_bytes()
    with pytest.raises(migrate.NewerLog, match="install the newer version"):
        OpenLog(database)
    assert database.read_bytes() == before
