"""The collector's database: how it is opened, brought to its present shape, and what differs between PostgreSQL and SQLite."""
import logging
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
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
#: Rows of each month from this one on lie in a part of their own, so many months ahead of today; all others lie in one together (choice).
FIRST_MONTH, MONTHS_AHEAD = date(2025, 1, 1), 3     # day, count; choice
#: A month's part is made another time where the table is in use for longer than this [s] (choice: boards wait behind it).
LOCK_WAIT_S = 2.0       # [s], choice

log = logging.getLogger("ampledger.fleet")


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
    """Brings the database to HEAD, made new where it is empty, with the months' parts. Several may call it at once.

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
            if version is not None and version > HEAD:
                raise NoCollection(f"the database has shape {version}, this ampledger knows shapes up to {HEAD}; install the newer version")
            if version != HEAD:
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
        make_months(engine, datetime.now(UTC).date())
    except OperationalError as error:
        raise NoCollection(f"the database cannot be reached: {str(error.orig).strip().splitlines()[0]}") from None
    except ProgrammingError as error:
        raise NoCollection(f"the database refuses to make its tables: {str(error.orig).strip().splitlines()[0]}") from None


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    row = connection.execute(text("select version_num from alembic_version")).fetchone()
    return row[0] if row else None


def make_months(engine: Engine, today: date) -> bool:
    """Makes the parts of the table blocks for every month from FIRST_MONTH to MONTHS_AHEAD past today that has none yet (PostgreSQL).

    Returns False where some could not be made now, because the table was in use; their rows are kept in the part for all other months,
    and move into their own when it is made. Never called while a batch is taken: each month waits for a lock of its own, but not for long.

    engine: the collection; today: the day on the collector's clock.
    """
    if engine.dialect.name != "postgresql":
        return True
    with engine.connect() as connection:
        question = text("select relid::regclass::text from pg_partition_tree(:table)")
        there = set(connection.execute(question, {"table": blocks.name}).scalars())
    for first, until in months(today):
        if f"{blocks.name}_{first:%Y_%m}" not in there:
            try:
                with engine.begin() as connection:
                    _make_month(connection, first, until)
            except OperationalError as error:  # the lock did not come in time
                log.info("%s %s waits: %s", blocks.name, f"{first:%Y-%m}", str(error.orig).strip().splitlines()[0])
                return False
    return True


def months(today: date) -> list[tuple[date, date]]:
    """(first day, first day of the next) of each month that has a part of its own, by what day it is.

    >>> [f"{first:%Y-%m}" for first, _ in months(date(2025, 1, 31))]
    ['2025-01', '2025-02', '2025-03', '2025-04']
    """
    last = today.year * 12 + today.month - 1 + MONTHS_AHEAD
    numbers = range(FIRST_MONTH.year * 12 + FIRST_MONTH.month - 1, min(last, 12 * date.max.year - 2) + 1)
    return [(_month(number), _month(number + 1)) for number in numbers]


def _month(number: int) -> date:
    return date(number // 12, number % 12 + 1, 1)


def _make_month(connection: Connection, first: date, until: date) -> None:
    """Attaches one month's part, with what lies in the part for all others. Attaching lets others go on writing (PostgreSQL's
    manual, ALTER TABLE: a weaker lock than CREATE TABLE ... PARTITION OF takes); only who writes into the other months waits.
    """
    name, other = f"{blocks.name}_{first:%Y_%m}", f"{blocks.name}_other"
    span = f"'{first.isoformat()}' and day < '{until.isoformat()}'"
    connection.execute(text(f"set local lock_timeout = '{LOCK_WAIT_S:.0f}s'"))
    connection.execute(text("select pg_advisory_xact_lock(:number)"), {"number": MIGRATING})
    if connection.execute(text("select to_regclass(:name)"), {"name": name}).scalar() is not None:
        return
    connection.execute(text(f"lock table only {blocks.name} in share update exclusive mode"))
    connection.execute(text(f"lock table {other} in access exclusive mode"))
    connection.execute(text(f"create table {name} (like {blocks.name} including all)"))
    connection.execute(text(f"with moved as (delete from {other} where day >= {span} returning *) insert into {name} select * from moved"))
    connection.execute(text(f"alter table {blocks.name} attach partition {name} for values from ('{first.isoformat()}') "
                            f"to ('{until.isoformat()}')"))


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
