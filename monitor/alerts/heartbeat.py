"""A sign of life for outside: somebody else can notice when it is missing, which no alert of our own can tell."""
import logging
import threading
import time
from collections.abc import Callable
from typing import Any, Protocol

from monitor.alerts.channels import NotDelivered
from monitor.findings import Condition

log = logging.getLogger("ampledger.heartbeat")

#: What was concluded longer ago than this is no sign of life: the beat stands still [s] (choice: three minutes, for one
#: may be late while the log is sealed).
FRESH_S = 180.0
#: Missed so often in a row, and it is told [count] (choice: one miss is a network that comes and goes).
MISSED_COUNT = 3


class Receiver(Protocol):
    """Something that takes a sign of life: a command, a topic."""

    @property
    def name(self) -> str:
        """What it is called in messages."""

    def hand(self, values: dict[str, Any], timeout_s: float) -> None:
        """Passes it on, or raises NotDelivered, within the time limit."""


class Heartbeat:
    """Sends the latest minute's words every interval_s in a thread of its own, and nothing when no minute comes any more."""

    def __init__(self, receivers: list[Receiver], interval_s: float, timeout_s: float = 20.0,
                 now: Callable[[], float] = time.monotonic) -> None:
        self._receivers, self._interval_s, self._timeout_s, self._now = receivers, interval_s, timeout_s, now
        self._latest: tuple[float, dict[str, Any]] | None = None
        self._missed = {r.name: (0, "") for r in receivers}
        self._wake, self._stop = threading.Event(), False
        self._thread: threading.Thread | None = None
        self.revive()

    @property
    def has_receivers(self) -> bool:
        """Whether anybody waits for it."""
        return bool(self._receivers)

    def live(self, values: dict[str, Any]) -> None:
        """A minute was concluded; returns at once."""
        first = self._latest is None
        self._latest = (self._now(), values)
        if first:
            self._wake.set()

    def condition(self) -> Condition:
        """Whether the sign of life does not get out."""
        why = {name: said for name, (count, said) in self._missed.items() if count >= MISSED_COUNT}
        names = ", ".join(sorted(why))
        return Condition(
            "heartbeat_failed", "vehicle", bool(why), "low", f"The sign of life by {names} does not get out." if why else "",
            f"Whoever waits for it will think that the board is dead. The last reason: {next(iter(why.values()))}." if why else "",
            "Is there a network? Try the command by hand.", "It clears when it gets out again.")

    def alive(self) -> bool:
        """Whether the thread still works; there is none where nobody waits for a sign."""
        return not self._receivers or (self._thread is not None and self._thread.is_alive())

    def revive(self) -> None:
        """Starts the thread, at the start and where it has ended."""
        if self._receivers:
            self._thread = threading.Thread(target=self._work, name="heartbeat", daemon=True)
            self._thread.start()

    def close(self) -> None:
        """Ends it."""
        self._stop = True
        self._wake.set()
        if self._thread is not None:
            self._thread.join(2.0)

    def _work(self) -> None:
        self._wake.wait()
        while not self._stop:
            self._wake.clear()
            if self._latest is not None and self._now() - self._latest[0] < FRESH_S:
                for receiver in self._receivers:
                    self._send(receiver, self._latest[1])
            self._wake.wait(self._interval_s)

    def _send(self, receiver: Receiver, values: dict[str, Any]) -> None:
        count = self._missed[receiver.name][0]
        try:
            receiver.hand(values, self._timeout_s)
        except NotDelivered as error:
            if not count:
                log.warning("the sign of life by %s did not get out: %s", receiver.name, error)
            self._missed[receiver.name] = (count + 1, str(error))
        except Exception as error:  # a receiver's own mistake must not end the others'
            log.exception("the sign of life by %s broke", receiver.name)
            self._missed[receiver.name] = (count + 1, f"{type(error).__name__}: {error}")
        else:
            self._missed[receiver.name] = (0, "")
