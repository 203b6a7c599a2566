"""The collector's database: how it is opened, brought to its present shape, and what differs between PostgreSQL and SQLite."""
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, OperationalError, ProgrammingError

from drivers.extras import install_command
from monitor.fleet.tables import blocks

FOLDER = Path(__file__).parent / "migrations"
#: the shape this program writes: the number of the newest file in migrations/versions
HEAD = max(file.name[1:5] for file in (FOLDER / "versions").glob("v*.py"))
#: One process migrates at a time, on PostgreSQL by this number of an advisory lock (choice).
MIGRATING = 21873


class NoCollection(Exception):
    """The collector's database cannot be used; one sentence."""


def open_engine(address: str, pool_size: int = 8) -> Engine:
    """The database at an address as SQLAlchemy writes them: postgresql://user@host/name, or sqlite:///file.

    Raises
    ------
    NoCollection : the address is none, or a package is missing
    """
    if address.startswith("postgresql://"):
        address = "postgresql+psycopg://" + address.removeprefix("postgresql://")
    try:
        if address.startswith("sqlite"):
            engine = create_engine(address, connect_args={"timeout": 20})
            event.listen(engine, "connect", _prepare_sqlite)
            event.listen(engine, "begin", _begin_sqlite)
            return engine
        if not address.startswith("postgresql+psycopg://"):
            raise NoCollection(f"{address.partition('://')[0]!r} is no database for a fleet; write postgresql://user@host/name, "
                               "or sqlite:///file to try it")
        return create_engine(address, pool_size=pool_size, max_overflow=pool_size, pool_pre_ping=True)
    except ModuleNotFoundError:
        raise NoCollection("a fleet on PostgreSQL needs a package; run: " + install_command("fleet")) from None
    except (ArgumentError, NoSuchModuleError) as error:
        raise NoCollection(f"the database's address cannot be read: {error}") from None


def _prepare_sqlite(connection: Any, _: Any) -> None:
    connection.isolation_level = None  # transactions begin when we say so
    for pragma in ("journal_mode = wal", "synchronous = normal", "foreign_keys = on"):
        connection.execute(f"pragma {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    connection.exec_driver_sql("begin" if connection.get_execution_options().get("only_reads") else "begin immediate")


def upgrade(engine: Engine) -> None:
    """Brings the database to HEAD, made new where it is empty. Several may call it at once.

    Raises
    ------
    NoCollection : it cannot be reached, or a later ampledger made it
    """
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    try:
        with engine.begin() as connection:
            if engine.dialect.name == "postgresql":
                connection.execute(text("select pg_advisory_xact_lock(:number)"), {"number": MIGRATING})
            version = _version(connection)
            if version == HEAD:
                return
            if version is not None and version > HEAD:
                raise NoCollection(f"the database has shape {version}, this ampledger knows shapes up to {HEAD}; install the newer version")
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
    except OperationalError as error:
        raise NoCollection(f"the database cannot be reached: {str(error.orig).strip().splitlines()[0]}") from None
    except ProgrammingError as error:
        raise NoCollection(f"the database refuses to make its tables: {str(error.orig).strip().splitlines()[0]}") from None


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    row = connection.execute(text("select version_num from alembic_version")).fetchone()
    return row[0] if row else None


def make_month(connection: Connection, day: date) -> None:
    """Makes the part of the table blocks that a day lies in, where it is missing (PostgreSQL)."""
    if connection.dialect.name != "postgresql":
        return
    first = day.replace(day=1)
    name = f"blocks_{first:%Y_%m}"
    if connection.execute(text("select to_regclass(:name)"), {"name": name}).scalar() is not None:
        return
    until = (first + timedelta(days=32)).replace(day=1)
    connection.execute(text("select pg_advisory_xact_lock(:number)"), {"number": MIGRATING})
    connection.execute(text(f"create table if not exists {name} partition of {blocks.name} "
                            f"for values from ('{first.isoformat()}') to ('{until.isoformat()}')"))


def insert_of(connection: Connection, table: Any) -> Any:
    """An insert that can say what to do where the row is there already."""
    return (postgresql if connection.dialect.name == "postgresql" else sqlite).insert(table)


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """One moment of the collection for all that is asked."""
    with engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            yield connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
        else:
            yield connection.execution_options(only_reads=True)
