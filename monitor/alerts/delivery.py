"""Getting alerts to a person: a thread that keeps trying and never holds up a sample."""
import logging
import threading
import time
from collections import deque
from dataclasses import dataclass

from monitor.alerts.channels import Channel, Command, Journal, NotDelivered, Services, Topic
from monitor.alerts.rules import AlertChange

log = logging.getLogger("ampledger.delivery")

#: Pauses between tries [s]; the last one repeats until GIVE_UP_S after the alert.
PAUSES_S = (5.0, 30.0, 120.0, 600.0)
GIVE_UP_S = 24 * 3600.0
KEPT = 200


@dataclass(frozen=True, slots=True)
class Waiting:
    """One alert that one channel has not delivered yet."""

    change: AlertChange
    channel: str
    tries: int
    due_s: float
    since_s: float
    why: str = ""


def channels(command: list[str] | None, apprise: list[str], mqtt: object | None) -> list[Channel]:
    """The configured ways out, the journal first. Raises ValueError with a sentence where one cannot be built."""
    ways: list[Channel] = [Journal()]
    if command:
        ways.append(Command(tuple(command)))
    if apprise:
        ways.append(Services(tuple(apprise)))
    if mqtt is not None:
        ways.append(Topic(mqtt.host, mqtt.port, mqtt.topic, mqtt.username, mqtt.password_file))
    return ways


class Deliverer:
    """Takes alert changes at once and delivers them in its own thread."""

    def __init__(self, ways: list[Channel], timeout_s: float = 20.0, pauses_s: tuple[float, ...] = PAUSES_S,
                 now=time.monotonic) -> None:
        self._ways = {way.name: way for way in ways}
        self._timeout_s, self._pauses_s, self._now = timeout_s, pauses_s, now
        self._waiting: deque[Waiting] = deque(maxlen=KEPT)
        self._given_up: deque[Waiting] = deque(maxlen=KEPT)
        self._wake, self._stop = threading.Condition(), False
        self._thread = threading.Thread(target=self._work, name="deliveries", daemon=True)
        self._thread.start()

    def offer(self, change: AlertChange) -> None:
        """Deliver this when possible; returns at once. Changes not to be announced go to the journal only."""
        if change.what not in ("raised", "worse", "cleared", "unshelved"):
            return
        names = list(self._ways) if change.announce and change.what != "cleared" else ["journal"]
        with self._wake:
            for name in names:
                if name in self._ways:
                    self._waiting.append(Waiting(change, name, 0, self._now(), self._now()))
            self._wake.notify()

    def waiting(self) -> list[Waiting]:
        """What has not been delivered yet and what was given up, oldest first."""
        with self._wake:
            return [w for w in self._waiting if w.tries] + list(self._given_up)

    def alive(self) -> bool:
        """Whether the thread still works."""
        return self._thread.is_alive()

    def close(self, wait_s: float = 5.0) -> None:
        """Try what is due once more, then stop."""
        with self._wake:
            self._stop = True
            self._wake.notify()
        self._thread.join(wait_s)
        for way in self._ways.values():
            getattr(way, "close", lambda: None)()

    def _work(self) -> None:
        while True:
            with self._wake:
                due = next((w for w in self._waiting if w.due_s <= self._now()), None)
                if due is None:
                    if self._stop:
                        return
                    next_s = min((w.due_s - self._now() for w in self._waiting), default=3600.0)
                    self._wake.wait(max(next_s, 0.01))
                    continue
                self._waiting.remove(due)
            again = self._try(due)
            if again is not None:
                with self._wake:
                    self._waiting.append(again)

    def _try(self, item: Waiting) -> Waiting | None:
        try:
            self._ways[item.channel].send(item.change, self._timeout_s)
        except NotDelivered as error:
            why = str(error)
        except Exception as error:  # a channel's own mistake must not end all deliveries
            why = f"{type(error).__name__}: {error}"
            log.exception("%s: delivery broke", item.channel)
        else:
            if item.tries:
                log.info("%s: delivered %s after %d tries", item.channel, item.change.alert.kind, item.tries + 1)
            return None
        if not item.tries:
            log.warning("%s: %s not delivered: %s", item.channel, item.change.alert.kind, why)
        pause = self._pauses_s[min(item.tries, len(self._pauses_s) - 1)]
        later = Waiting(item.change, item.channel, item.tries + 1, self._now() + pause, item.since_s, why)
        if later.due_s - item.since_s > GIVE_UP_S:
            self._given_up.append(later)
            log.error("%s: gave up on %s after a day: %s", item.channel, item.change.alert.kind, why)
            return None
        return later
