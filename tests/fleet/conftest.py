"""A PostgreSQL of the tests' own, started once, and a log that a board publishes."""
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, text

from monitor.fleet import database, local_postgres
from tests import store_fixture

DAYS = 3
#: The database that others are copied from.
EMPTY = "empty_fleet"


@pytest.fixture(scope="session")
def postgres() -> Iterator[str]:
    """The address of a server of the tests' own (Debian's package)."""
    if local_postgres.binaries() is None:
        pytest.skip("needs PostgreSQL: apt install postgresql")
    with local_postgres.local_postgres() as address:
        yield address


@pytest.fixture(scope="session")
def admin(postgres: str) -> Iterator[Engine]:
    """Makes databases on that server; an empty collection waits there to be copied."""
    made = database.open_engine(postgres).execution_options(isolation_level="AUTOCOMMIT")
    with made.connect() as connection:
        connection.execute(text(f"create database {EMPTY}"))
    empty = database.open_engine(_address(postgres, EMPTY))
    database.upgrade(empty)
    empty.dispose()
    yield made
    made.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def engine(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """An empty collection, on both kinds of database."""
    if request.param == "sqlite":
        made = database.open_engine(f"sqlite:///{tmp_path / 'fleet.db'}")
        database.upgrade(made)
        yield made
        made.dispose()
        return
    server, name = request.getfixturevalue("admin"), f"fleet_{abs(hash(request.node.nodeid)) % 10**12}"
    with server.connect() as connection:
        connection.execute(text(f"drop database if exists {name}"))
        connection.execute(text(f"create database {name} template {EMPTY}"))
    made = database.open_engine(_address(request.getfixturevalue("postgres"), name))
    yield made
    made.dispose()
    with server.connect() as connection:
        connection.execute(text(f"drop database {name}"))


def _address(server: str, name: str) -> str:
    return server.replace("/postgres?", f"/{name}?")


@pytest.fixture(scope="session")
def published_log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log of some days; tests that write to it take a copy."""
    return store_fixture.fill(tmp_path_factory.mktemp("board") / "ampledger.db", DAYS, beat_s=60.0)
