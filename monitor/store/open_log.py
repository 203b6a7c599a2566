"""The log held open by its one writer: durable commits, checked shape, checked place."""
from pathlib import Path
from typing import Any

from sqlalchemy import URL, create_engine, event, pool

from monitor.store import checksum, commit_mark, migrate, past, restoring, sealing, set_aside, thinning, transaction
from monitor.store.write_queue import WriteQueue

#: small pages, for a card is worn by what is written (a minute touches few of them); durable at every commit, a -wal that
#: shrinks again, temporary tables in memory
PRAGMAS = (
    "pragma page_size = 1024", "pragma journal_mode = wal", "pragma synchronous = full", "pragma busy_timeout = 5000",
    "pragma temp_store = memory",
    "pragma wal_autocheckpoint = 8000", "pragma journal_size_limit = 8388608", "pragma cache_size = -2000",
)
#: Days sealed after one commit: a log of an earlier shape is brought over while it is written.
SEALED_AT_ONCE = 4


class OpenLog:
    """One connection that both writes and checkpoints: two could meet in a race known of SQLite before 3.51.3.

    Raises, when made
    -----------------
    sqlalchemy.exc.DatabaseError, OSError : it cannot be opened, made or migrated
    monitor.store.migrate.NewerLog : a later ampledger wrote it
    """

    def __init__(self, path: Path, meta: dict[str, str] | None = None, salvaging: bool = False) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        if not salvaging:
            self._refuse_halves(path)
        self._path = path
        self._engine = create_engine(URL.create("sqlite", database=str(path)), isolation_level="AUTOCOMMIT",
                                     poolclass=pool.NullPool, connect_args={"check_same_thread": False})
        event.listen(self._engine, "connect", _prepare)
        self.connection: Any = None
        self._mark: commit_mark.MarkFile | None = None
        try:
            self.connection = self._engine.connect()
            begun_new = migrate.version_of(self.connection) is None
            migrate.upgrade(self.connection, str(path))
            past.unfold(self.connection.connection.dbapi_connection, past.folder_of(path))
            for name, value in (meta or {}).items():
                known = self.sql("select value from meta where name = ?", (name,)).fetchone()
                if known is None or known[0] != value:
                    self.sql(*checksum.meta_row(name, value))
            self.place = transaction.place_of(self.sql)
            self._file = _identity(path)
            self._packed_hour = -1
            self._unchecked = True
            self.past = past.folder_of(path)
            self._demanded = begun_new and checksum.demand_all(self.sql)
            if not salvaging:
                if begun_new:
                    commit_mark.forget(path)
                self._mark = commit_mark.MarkFile(path)
                self._mark.put_map(commit_mark.TableMap(self.sql("pragma page_size").fetchone()[0], dict(self.sql(
                    "select name, rootpage from sqlite_master where type = 'table'").fetchall())))
        except BaseException:
            self.close()
            raise

    @staticmethod
    def _refuse_halves(path: Path) -> None:
        """A salvage that was interrupted, or sealed days without the present, are a damaged log and no new one."""
        restoring.finish(path)
        if why := set_aside.why_unfinished(path):
            raise checksum.RowDamaged(why)
        if not path.exists() and past.FolderFiles(past.folder_of(path)).numbers("books"):
            raise checksum.RowDamaged("its file is gone, and its sealed days are there")

    def sql(self, statement: str, values: Any = None) -> Any:
        """Runs one statement, in SQLite's own words."""
        return self.connection.exec_driver_sql(statement, values)

    def meta(self, name: str) -> str | None:
        """A word about the log as a whole. Raises RowDamaged."""
        row = self.sql(f"select {checksum.columns_of('meta')} from meta where name = ?", (name,)).fetchone()
        return None if row is None else checksum.verify("meta", row)[1]

    def write(self, pending: WriteQueue) -> None:
        """One transaction. Raises sqlalchemy.exc.DatabaseError, and nothing was written."""
        self.place = transaction.write(self.connection, pending, self.place)
        self._note_commit()

    def pack(self) -> None:
        """Packs hours that have become old, seals days, gives rows of an earlier shape their checksum: some at each commit."""
        hour = (self.place.minute_ms or 0) // thinning.HOUR_MS
        if hour != self._packed_hour:
            thinning.pack_hours(self.sql, hour * thinning.HOUR_MS)
            self._packed_hour = hour
            self._demanded = self._demanded or (not self._unchecked and checksum.demand_all(self.sql))
        for _ in range(SEALED_AT_ONCE):
            number = sealing.due(self.sql, self.place.minute_ms or 0)
            if number is None:
                break
            sealing.seal(self.sql, self.past, number)
        if self._unchecked:
            self._unchecked = checksum.fill(self.sql)

    def check_place(self) -> None:
        """Writing into a file that was removed or exchanged would succeed and be lost.

        Raises
        ------
        OSError : the file at the log's place is not the one that is open
        """
        if _identity(self._path) != self._file:
            raise OSError(f"{self._path} was removed or exchanged while it was open")

    def _note_commit(self, closed: bool = False) -> None:
        if self._mark is not None:
            self._mark.put(self.place.generation, self.place.event_id, self.place.minute_ms or 0, closed)

    def thin_in_need(self) -> str:
        """Gives up old rows for space; returns what went, or "" where nothing could."""
        try:
            return thinning.in_need(self.sql, self.past)
        except Exception:
            return ""

    def close(self, orderly: bool = True) -> None:
        """Closes the connection; the last one to close brings the -wal into the file. orderly: nothing is left to be written."""
        if self.connection is not None:
            self.connection.close()
            if self._mark is not None:
                self._note_commit(closed=orderly)
                self._mark.close()
        self._engine.dispose()


def _prepare(dbapi: Any, _record: Any) -> None:
    for pragma in PRAGMAS:
        dbapi.execute(pragma)


def _identity(path: Path) -> tuple[int, int]:
    found = path.stat()
    return found.st_dev, found.st_ino
