"""The log held open by its one writer: durable commits, checked shape, checked place."""
from pathlib import Path
from typing import Any

from sqlalchemy import URL, create_engine, event, pool

from monitor.store import migrate, thinning, transaction
from monitor.store.write_queue import WriteQueue

#: durable at every commit, a -wal that shrinks again, temporary tables in memory
PRAGMAS = (
    "pragma journal_mode = wal", "pragma synchronous = full", "pragma busy_timeout = 5000", "pragma temp_store = memory",
    "pragma wal_autocheckpoint = 2000", "pragma journal_size_limit = 8388608", "pragma cache_size = -2000",
)


class OpenLog:
    """One connection that both writes and checkpoints: two could meet in a race known of SQLite before 3.51.3.

    Raises, when made
    -----------------
    sqlalchemy.exc.DatabaseError, OSError : it cannot be opened, made or migrated
    monitor.store.migrate.NewerLog : a later ampledger wrote it
    """

    def __init__(self, path: Path, meta: dict[str, str] | None = None) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._path = path
        self._engine = create_engine(URL.create("sqlite", database=str(path)), isolation_level="AUTOCOMMIT",
                                     poolclass=pool.NullPool, connect_args={"check_same_thread": False})
        event.listen(self._engine, "connect", _prepare)
        self.connection: Any = None
        try:
            self.connection = self._engine.connect()
            migrate.upgrade(self.connection, str(path))
            for name, value in (meta or {}).items():
                known = self.sql("select value from meta where name = ?", (name,)).fetchone()
                if known is None or known[0] != value:
                    self.sql("insert or replace into meta (name, value) values (?, ?)", (name, value))
            self.place = transaction.place_of(self.sql)
            self._file = _identity(path)
            self._packed_hour = -1
        except BaseException:
            self.close()
            raise

    def sql(self, statement: str, values: Any = None) -> Any:
        """Runs one statement, in SQLite's own words."""
        return self.connection.exec_driver_sql(statement, values)

    def write(self, pending: WriteQueue) -> None:
        """One transaction. Raises sqlalchemy.exc.DatabaseError, and nothing was written."""
        self.place = transaction.write(self.connection, pending, self.place)

    def pack(self) -> None:
        """Packs hours that have become old; once in each hour of the log there is one."""
        hour = (self.place.minute_ms or 0) // thinning.HOUR_MS
        if hour != self._packed_hour:
            thinning.pack_hours(self.sql, hour * thinning.HOUR_MS)
            self._packed_hour = hour

    def find_place(self) -> None:
        """After rows came in by another way."""
        self.place = transaction.place_of(self.sql)

    def check_place(self) -> None:
        """Writing into a file that was removed or exchanged would succeed and be lost.

        Raises
        ------
        OSError : the file at the log's place is not the one that is open
        """
        if _identity(self._path) != self._file:
            raise OSError(f"{self._path} was removed or exchanged while it was open")

    def thin_in_need(self) -> str:
        """Gives up old rows for space; returns what went, or "" where nothing could."""
        try:
            return thinning.in_need(self.sql)
        except Exception:
            return ""

    def close(self) -> None:
        """Closes the connection; the last one to close brings the -wal into the file."""
        if self.connection is not None:
            self.connection.close()
        self._engine.dispose()


def _prepare(dbapi: Any, _record: Any) -> None:
    for pragma in PRAGMAS:
        dbapi.execute(pragma)


def _identity(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_dev, found.st_ino
