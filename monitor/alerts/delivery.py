"""Getting alerts to a person: threads that keep trying and never hold up a sample."""
import logging
import threading
import time
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from monitor.alerts.channels import Channel, Command, Journal, NotDelivered, Services, Topic
from monitor.alerts.rules import RANK, Alert, AlertChange
from monitor.alerts.spool import Spool, Waiting
from monitor.findings import Condition
from monitor.replacing import replace

if TYPE_CHECKING:
    from monitor.config.tables import MqttTable

log = logging.getLogger("ampledger.delivery")

#: Pauses between tries [s]; the last one repeats until GIVE_UP_S after the alert.
PAUSES_S = (5.0, 30.0, 120.0, 600.0)
#: (choice: a day later the alert is told by what stands on the pages, not by a message).
GIVE_UP_S = 24 * 3600.0
#: So much waits for each channel; beyond it what is least urgent goes, the oldest of it first
#: (choice: months of ordinary alerts).
KEPT = 200
#: Nothing delivered for so long by a channel that has something to deliver: it is dead [s] (choice: a day holds every
#: hour at which a vehicle may have a network).
DEAD_S = 24 * 3600.0


def channels(command: list[str] | None, apprise: list[str], mqtt: "MqttTable | None") -> list[Channel]:
    """The configured ways out, the journal first. Raises ValueError with a sentence where one cannot be built.

    command : program and arguments
    apprise : addresses of services
    mqtt : where the topic is
    """
    ways: list[Channel] = [Journal()]
    if command:
        ways.append(Command(tuple(command)))
    if apprise:
        ways.append(Services(tuple(apprise)))
    if mqtt is not None:
        ways.append(Topic(mqtt))
    return ways


class Deliverer:
    """Takes alert changes at once and delivers them in threads, one for each channel: a slow one delays no other.

    ways : from channels(); named apart
    spool : keeps what waits over a restart; None: a restart forgets it
    """

    def __init__(self, ways: list[Channel], timeout_s: float = 20.0, pauses_s: tuple[float, ...] = PAUSES_S,
                 spool: Spool | None = None, now: Callable[[], float] = time.monotonic) -> None:
        self._ways = {way.name: way for way in ways}
        self._timeout_s, self._pauses_s, self._now, self._spool = timeout_s, pauses_s, now, spool
        kept = spool.read() if spool else ()
        self._items = [replace(w, due_s=now(), since_s=now()) for w in kept if w.channel in self._ways]
        self._wake, self._writing, self._stop, self._changed = threading.Condition(), threading.Lock(), False, bool(spool and spool.damaged)
        self._threads: dict[str, threading.Thread] = {}
        self.revive()

    def offer(self, change: AlertChange) -> None:
        """Deliver this when possible; returns at once.

        What is not to be announced, and that an alert is over, goes to the journal only; a channel that keeps
        the state of each alert gets every change.
        """
        loud = change.announce and change.what in ("raised", "worse", "unshelved")
        told = change.what in ("raised", "worse", "cleared", "unshelved")
        with self._wake:
            for way in self._ways.values():
                if getattr(way, "keeps_state", False) or (loud or (told and isinstance(way, Journal))):
                    self._queue(way, Waiting(change, way.name, 0, self._now(), self._now()))
            self._changed = True
            self._wake.notify_all()

    def offer_again(self, alerts: Iterable[Alert]) -> None:
        """Delivers alerts that hold and that nobody has seen once more: what waited is not known. alerts: all there are."""
        for alert in alerts:
            if alert.state == "active":
                self.offer(AlertChange(alert.raised_at_s, "raised", alert))

    def _queue(self, way: Channel, new: Waiting) -> None:
        """Takes it into its channel's queue, which is bounded: 200 that can wait never push out one that cannot."""
        if getattr(way, "keeps_state", False):  # only the latest word on each alert is of use there
            key = (new.change.alert.kind, new.change.alert.battery)
            self._items = [w for w in self._items if w.channel != way.name or (w.change.alert.kind, w.change.alert.battery) != key]
        self._items.append(new)
        mine = [w for w in self._items if w.channel == way.name]
        if len(mine) > KEPT:
            least = min(mine, key=lambda w: (not w.given_up, RANK[w.change.alert.priority], w.since_s))
            self._items = [w for w in self._items if w is not least]

    def waiting(self) -> list[Waiting]:
        """What was tried in vain so far and what was given up, oldest first."""
        with self._wake:
            return [w for w in self._items if w.tries]

    def condition(self) -> Condition:
        """Whether somebody should look at the deliveries: an alert of its own, seen on the page at least, sent by the other ways."""
        stuck = [w for w in self.waiting() if self._now() - w.since_s > 600 or w.given_up]
        names = ", ".join(sorted({w.channel for w in stuck}))
        dead = any(w.given_up or self._now() - w.since_s > DEAD_S for w in stuck)
        return Condition(
            "not_delivered", "vehicle", bool(stuck), "medium" if dead else "low",
            f"Messages could not be delivered{' for a day' if dead else ''}." if stuck else "",
            "Nobody is warned that way; the pages show everything." if stuck else "",
            "Is there a network? Try `ampledger alerts test`.", "It clears when delivery works again; it is tried for a day.",
            evidence=f"{len(stuck)} by {names}. The last reason: {stuck[-1].why}." if stuck else "")

    def alive(self) -> bool:
        """Whether all threads still work."""
        return all(thread.is_alive() for thread in self._threads.values())

    def revive(self) -> None:
        """Starts each thread that does not work, at the start and whenever one has ended."""
        for way in self._ways.values():
            if way.name not in self._threads or not self._threads[way.name].is_alive():
                self._threads[way.name] = threading.Thread(target=self._work, args=(way,), name=f"deliver by {way.name}", daemon=True)
                self._threads[way.name].start()

    def close(self, wait_s: float = 5.0) -> None:
        """Try what is due once more, then stop; what still waits stays in the spool."""
        with self._wake:
            self._stop = True
            self._wake.notify_all()
        end = self._now() + wait_s
        for thread in self._threads.values():
            thread.join(max(end - self._now(), 0.01))
        self._save()
        for way in self._ways.values():
            getattr(way, "close", lambda: None)()

    def _work(self, way: Channel) -> None:
        while True:
            self._save()
            with self._wake:
                mine = [w for w in self._items if w.channel == way.name and not w.given_up]
                due = max((w for w in mine if w.due_s <= self._now()), key=lambda w: (RANK[w.change.alert.priority], -w.since_s),
                          default=None)
                if due is None:
                    if self._stop:
                        return
                    self._wake.wait(max(min((w.due_s - self._now() for w in mine), default=3600.0), 0.01))
                    continue
            after = self._try(way, due)
            with self._wake:
                place = next((i for i, w in enumerate(self._items) if w is due), None)
                if place is not None:
                    self._items[place:place + 1] = [after] if after else []
                self._changed = True

    def _try(self, way: Channel, item: Waiting) -> Waiting | None:
        """One try; the item as it waits from now on, or None where it is done."""
        try:
            way.send(item.change, self._timeout_s)
        except NotDelivered as error:
            why = str(error)
        except Exception as error:  # a channel's own mistake must not end its deliveries
            why = f"{type(error).__name__}: {error}"
            log.exception("%s: delivery broke", way.name)
        else:
            if item.tries:
                log.info("%s: delivered %s after %d tries", way.name, item.change.alert.kind, item.tries + 1)
            return None
        if not item.tries:
            log.warning("%s: %s not delivered: %s", way.name, item.change.alert.kind, why)
        due_s = self._now() + self._pauses_s[min(item.tries, len(self._pauses_s) - 1)]
        given_up = due_s - item.since_s > GIVE_UP_S
        if given_up:
            log.error("%s: gave up on %s after a day: %s", way.name, item.change.alert.kind, why)
        return replace(item, tries=item.tries + 1, due_s=due_s, why=why, given_up=given_up)

    def _save(self) -> None:
        if self._spool is None:
            return
        with self._writing:
            with self._wake:
                if not self._changed:
                    return
                self._changed = False
                items = tuple(w for w in self._items if w.channel != "journal")
            try:
                self._spool.write(items)
            except OSError as error:
                log.warning("what waits for delivery cannot be kept: %s", error)
