"""A thread of a collector that looks once a minute whether there is something to do. Any number of collectors may have one."""
import logging
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Callable

from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

log = logging.getLogger("ampledger.fleet")

#: Time between two looks [s] (choice).
LOOK_S = 60.0


class MinuteThread(ABC):
    """Looks once a minute; what goes wrong in one look is said in the journal, and the next one comes all the same.

    name: of the thread; what: it does, for the journal; engine: of the collection; now_utc_s: the time, UTC [s].
    """

    def __init__(self, name: str, what: str, engine: Engine, now_utc_s: Callable[[], float] = time.time) -> None:
        self._what, self._engine, self._now_utc_s = what, engine, now_utc_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name=name, daemon=True)

    def start(self) -> None:
        """Begins."""
        self._thread.start()

    def close(self) -> None:
        """Ends; what was not finished is done anew another time."""
        self._stop.set()
        self._thread.join(2.0)

    @abstractmethod
    def look(self) -> object:
        """One look."""

    def _work(self) -> None:
        while not self._stop.wait(LOOK_S):
            try:
                self.look()
            except DBAPIError as error:
                log.warning("the collection cannot be asked: %s", error.orig)
            except Exception:  # a mistake of ours must not end it for good
                log.exception("%s broke", self._what)
