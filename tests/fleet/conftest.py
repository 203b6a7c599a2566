"""A PostgreSQL of the tests' own, started once, and a log that a board publishes."""
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from monitor.fleet import database, local_postgres
from tests import store_fixture

DAYS = 3


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """The address of a server of the tests' own (Debian's package)."""
    if local_postgres.binaries() is None:
        pytest.skip("needs PostgreSQL: apt install postgresql")
    with local_postgres.local_postgres() as address:
        yield address


@pytest.fixture(params=["sqlite", "postgresql"])
def engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """An empty collection, on both kinds of database."""
    if request.param == "sqlite":
        made = database.open_engine(f"sqlite:///{tmp_path / 'fleet.db'}")
        name = None
    else:
        server = request.getfixturevalue("postgres")
        name = f"fleet_{abs(hash(request.node.nodeid)) % 10**12}"
        admin = database.open_engine(server).execution_options(isolation_level="AUTOCOMMIT")
        with admin.connect() as connection:
            connection.execute(text(f"drop database if exists {name}"))
            connection.execute(text(f"create database {name}"))
        made = database.open_engine(server.replace("/postgres?", f"/{name}?"))
    database.upgrade(made)
    yield made
    made.dispose()
    if name is not None:
        with admin.connect() as connection:
            connection.execute(text(f"drop database {name}"))
        admin.dispose()


@pytest.fixture(scope="session")
def published_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of some days; tests that write to it take a copy."""
    return store_fixture.fill(tmp_path_factory.mktemp("board") / "ampledger.db", DAYS, beat_s=60.0)
