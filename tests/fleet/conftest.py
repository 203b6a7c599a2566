"""A PostgreSQL of the tests' own, started once, and a log that a board publishes."""
import os
import pwd
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from tempfile import mkdtemp

import pytest
from sqlalchemy import Engine, text

from monitor.fleet import database
from tests import store_fixture

DAYS = 3


def _binaries() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda p: int(p.parent.parent.name))
    return found[-1].parent if found else (Path(which).parent if (which := shutil.which("initdb")) else None)


@pytest.fixture(scope="session")
def postgres(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server of the tests' own: Debian's package, a folder that goes with the tests, a socket and no port."""
    binaries = _binaries()
    if binaries is None:
        pytest.skip("needs PostgreSQL: apt install postgresql")
    folder = Path(mkdtemp(prefix="ampledger-postgres-", dir="/tmp"))  # a socket's path must be short
    as_user: list[str] = []
    if os.geteuid() == 0:  # the server refuses to run as root
        user = pwd.getpwnam("postgres")
        os.chown(folder, user.pw_uid, user.pw_gid)
        as_user = ["runuser", "-u", "postgres", "--"]
    data = folder / "data"
    quick = "-c fsync=off -c full_page_writes=off -c synchronous_commit=off"
    try:
        subprocess.run([*as_user, binaries / "initdb", "-D", data, "-A", "trust", "-U", "tests", "-E", "UTF8", "--no-sync"],
                       check=True, capture_output=True, cwd=folder)
        subprocess.run([*as_user, binaries / "pg_ctl", "-D", data, "-w", "-o", f"-k {folder} -c listen_addresses='' {quick}",
                        "-l", folder / "server.log", "start"], check=True, capture_output=True, cwd=folder)
        yield f"postgresql://tests@/postgres?host={folder}"
    finally:
        subprocess.run([*as_user, binaries / "pg_ctl", "-D", data, "-m", "immediate", "stop"], capture_output=True, cwd=folder)
        shutil.rmtree(folder, ignore_errors=True)


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
