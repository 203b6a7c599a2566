"""Publishing beside the daemon: a thread of its own that never delays a beat, and says when somebody should look."""
import logging
import os
import sqlite3
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING

from monitor.findings import Condition
from monitor.fleet.board import board_of
from monitor.fleet.publishing import Https, NoConnection, Publisher, Refused
from monitor.fleet.unsent import Privacy
from monitor.store.reading import NoLog

if TYPE_CHECKING:
    from monitor.config.tables import PublishTable

log = logging.getLogger("ampledger.publish")

#: After the start the first minutes are left to measuring [s].
FIRST_S = 300.0
#: Without a connection it is tried again after so long [s] (choice: a vehicle passes through a network for some minutes).
AGAIN_S = 600.0
#: In economy mode at most so often [min] (choice: four times a day, for a contract that counts each megabyte).
ECONOMY_MINUTES = 360.0
#: The least polite a thread may be (Linux: of threads, not of processes).
NICE = 19


class PublishThread:
    """Publishes every so often, when there is a network."""

    def __init__(self, publisher: Publisher, every_s: float, first_s: float = FIRST_S, again_s: float = AGAIN_S,
                 now_utc_s: Callable[[], float] = time.time) -> None:
        self._publisher, self._every_s, self._first_s, self._again_s, self._now_utc_s = publisher, every_s, first_s, again_s, now_utc_s
        self._stop = threading.Event()
        self._refused = ""
        self._thread: threading.Thread | None = None
        self.revive()

    def condition(self) -> Condition:
        """Whether the collector turns this board away; without a network nothing is wrong."""
        return Condition(
            "publish_refused", "vehicle", bool(self._refused), "low",
            "The fleet's collector turns this board away." if self._refused else "",
            "Nothing is lost here; the fleet sees nothing new of this vehicle." if self._refused else "",
            "Tell whoever runs the fleet what stands below.", "It clears when it takes the log again.", evidence=self._refused)

    def alive(self) -> bool:
        """Whether the thread still works."""
        return self._thread is not None and self._thread.is_alive()

    def revive(self) -> None:
        """Starts it, at the start and where it has ended."""
        self._thread = threading.Thread(target=self._work, name="publish", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Ends it; what is being sent is sent again next time."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(2.0)

    def _work(self) -> None:
        with suppress(OSError, AttributeError):
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), NICE)
        wait_s = self._first_s
        while not self._stop.wait(wait_s):
            wait_s = self._every_s
            try:
                sent = self._publisher.publish(self._now_utc_s, lambda: not self._stop.is_set())
            except NoConnection as error:
                log.debug("%s", error)
                wait_s = min(self._again_s, self._every_s)
            except Refused as error:
                if str(error) != self._refused:
                    log.warning("the collector: %s", error)
                self._refused = str(error)
            except (NoLog, sqlite3.Error, OSError) as error:
                log.debug("nothing to publish: %s", error)
            except Exception:  # a mistake of ours must not end it for good
                log.exception("publishing broke")
            else:
                self._refused = ""
                if sent.batches:
                    log.info("published %d batches, %.0f kB", sent.batches, sent.size_bytes / 1000)


def publish_thread(table: "PublishTable", database: Path) -> PublishThread:
    """What the configuration asks for.

    table: [publish]; database: the log.

    Raises
    ------
    ValueError : the key cannot be read, or the address cannot be used; one sentence
    """
    assert table.url is not None and table.key_file is not None
    try:
        key = table.key_file.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise ValueError(f"[publish] key_file {table.key_file}: {getattr(error, 'strerror', None) or 'it is no key'}") from None
    board = board_of()
    publisher = Publisher(database, Https(table.url, key, board, table.ca_file), board, own_version(),
                          Privacy(table.position, table.names))
    return PublishThread(publisher, 60.0 * max(table.every_minutes, ECONOMY_MINUTES if table.economy else 0.0))


def own_version() -> str:
    """The version of this program."""
    try:
        return version("ampledger")
    except PackageNotFoundError:
        return "unknown"
