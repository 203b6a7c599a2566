"""Brings a log to the present shape of its tables; refuses one that is newer than this program."""
import threading
from pathlib import Path
from typing import Any

from monitor.store.all_or_nothing import transaction

FOLDER = Path(__file__).parent / "migrations"
#: the shape this program writes: the number of the newest file in migrations/versions
HEAD = max(file.name[1:5] for file in (FOLDER / "versions").glob("v*.py"))
#: Alembic keeps the run it is in in module globals
_ONE_AT_A_TIME = threading.Lock()


class NewerLog(Exception):
    """The log was written by a later ampledger; nothing in it was touched."""

    def __init__(self, path: str, version: str) -> None:
        super().__init__(f"{path} has shape {version}, this ampledger knows shapes up to {HEAD}; install the newer "
                         "version again, or restore a backup made before the upgrade")


def version_of(connection: Any) -> str | None:
    """The shape of an open log, or None where it has no tables yet. Takes a sqlite3 or SQLAlchemy connection."""
    ask = getattr(connection, "exec_driver_sql", None) or connection.execute
    if not ask("select 1 from sqlite_master where name = 'alembic_version'").fetchone():
        return None
    row = ask("select version_num from alembic_version").fetchone()
    return row[0] if row else None


def _renew_first_state(connection: Any) -> None:
    """The first logs kept what was learnt in two slots, under the same number of shape: that table begins anew.

    What was learnt is then learnt again from the log's own rows.
    """
    columns = {row[1] for row in connection.exec_driver_sql("pragma table_info(tracker_state)")}
    if "slot" in columns:
        connection.exec_driver_sql("drop table tracker_state")
        connection.exec_driver_sql(
            "create table tracker_state (generation INTEGER NOT NULL, whole INTEGER NOT NULL, at_ms INTEGER NOT NULL, "
            "format INTEGER NOT NULL, crc INTEGER NOT NULL, body BLOB NOT NULL, PRIMARY KEY (generation))")


def upgrade(connection: Any, path: str = "the log") -> bool:
    """Brings the log behind a SQLAlchemy connection to HEAD; returns whether anything had to change.

    Alembic is imported only when there is work for it. All changes are one transaction.

    Raises
    ------
    NewerLog : the log is of a later shape
    """
    version = version_of(connection)
    if version == HEAD:
        return False
    if version is not None and version > HEAD:
        raise NewerLog(path, version)
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    with _ONE_AT_A_TIME, transaction(connection.exec_driver_sql):
        _renew_first_state(connection)
        command.upgrade(config, "head")
    return True
