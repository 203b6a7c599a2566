"""A log that was copied by hand, taken as if its board had published it."""
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Engine

from monitor.fleet import intake, keys
from monitor.fleet.publish_thread import own_version
from monitor.fleet.publishing import Publisher, Refused, Sent
from monitor.store.reading import NoLog


class NotImported(Exception):
    """The log could not be taken; one sentence."""


class Straight:
    """Into the collection without a network."""

    def __init__(self, engine: Engine, key_hash: str, board: str, now_utc_s: float) -> None:
        self._engine, self._key_hash, self._board, self._now_utc_s = engine, key_hash, board, now_utc_s

    def ask(self, place: str, data: bytes | None = None) -> tuple[int, dict[str, Any]]:
        """(status, answer), as over a network."""
        try:
            with self._engine.begin() as connection:
                return 200, intake.answer(connection, self._key_hash, self._board, place, data, self._now_utc_s)
        except intake.Refusal as refusal:
            return refusal.status, {"word": refusal.word, "sentence": refusal.sentence}


def import_log(engine: Engine, log: Path, name: str, now_utc_s: float) -> Sent:
    """Takes what is new in a log for an enrolled vehicle.

    engine: the collection; log: the file; name: of the vehicle; now_utc_s: UTC [s].

    Raises
    ------
    NotImported : it is no log, or what is in it is not taken
    monitor.fleet.keys.NoVehicle : there is none of that name
    """
    with engine.connect() as connection:
        vehicle = keys.find(connection, name)
    board = vehicle.board or "by hand"
    publisher = Publisher(log, Straight(engine, vehicle.key_hash, board, now_utc_s), board, own_version())
    try:
        return publisher.publish(lambda: now_utc_s)
    except (NoLog, Refused) as error:
        raise NotImported(str(error)) from None
    except (sqlite3.DatabaseError, OSError) as error:
        raise NotImported(f"{log}: it cannot be read as a log: {error}") from None
