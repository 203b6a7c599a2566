"""Opens the log for its one writer: durable commits, checked shape."""
from pathlib import Path
from typing import Any

from monitor.store import migrate

#: durable at every commit, a log that never holds writes back for a reader, temporary tables in memory
PRAGMAS = (
    "pragma journal_mode = wal", "pragma synchronous = full", "pragma busy_timeout = 5000", "pragma temp_store = memory",
    "pragma wal_autocheckpoint = 1000", "pragma journal_size_limit = 4194304", "pragma cache_size = -2000",
)


def open_log(path: Path) -> tuple[Any, Any]:
    """(engine, connection) of the log at `path`, made or migrated where needed. One connection both writes and
    checkpoints: two could meet in a race known of SQLite before 3.51.3.

    Raises
    ------
    sqlalchemy.exc.DatabaseError : it cannot be opened, made or migrated
    monitor.store.migrate.NewerLog : a later ampledger wrote it
    """
    from sqlalchemy import URL, create_engine, event, pool

    path.parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(URL.create("sqlite", database=str(path)), isolation_level="AUTOCOMMIT",
                           poolclass=pool.NullPool, connect_args={"check_same_thread": False})

    @event.listens_for(engine, "connect")
    def _prepare(dbapi: Any, _record: Any) -> None:
        for pragma in PRAGMAS:
            dbapi.execute(pragma)

    try:
        connection = engine.connect()
        try:
            migrate.upgrade(connection, str(path))
        except BaseException:
            connection.close()
            raise
    except BaseException:
        engine.dispose()
        raise
    return engine, connection
