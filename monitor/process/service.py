"""Builds the daemon from a configuration, runs its beat, tells systemd it is alive, and ends in order."""
import logging
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from typing import Any, Protocol

from monitor import pipeline
from monitor.alerts.channels import Command, StateTopic, Topic
from monitor.alerts.delivery import Deliverer, channels
from monitor.alerts.heartbeat import Heartbeat, Receiver
from monitor.alerts.rules import RANK
from monitor.alerts.spool import Spool
from monitor.clocks.board_clock import BoardClock
from monitor.clocks.clock import Clock
from monitor.config.load import Config
from monitor.findings import Estimate
from monitor.process import restarts
from monitor.process.daemon import Daemon, OtherLog
from monitor.process.maintenance import Maintenance
from monitor.process.relearning import Relearning
from monitor.process.stop import SignalSafeEvent
from monitor.process.systemd_notify import Notifier
from monitor.reporting.state import describe_message
from monitor.sampling.first_reading import FirstReading
from monitor.store.lock import hold_lock
from monitor.store.migrate import NewerLog

log = logging.getLogger("ampledger")

#: Beats in a row that break before the daemon gives up and lets systemd start it anew.
BROKEN_BEATS = 30
#: The whole state goes out on a topic so often [s].
STATE_EVERY_S = 60.0
#: Chores wait until the first minutes are measured: they cost an import.
CHORES_AFTER_S = 180.0


class Supervised(Protocol):
    """A part with a thread of its own."""

    def alive(self) -> bool: ...

    def revive(self) -> None: ...


class CannotRun(Exception):
    """The daemon cannot start or go on; one sentence for a person."""


def run(config: Config, *, stop: SignalSafeEvent | None = None, clock: Clock | None = None, pace_s: float | None = None,
        begins_utc_s: float | None = None, told: Callable[[Any], None] = lambda _: None,
        first: FirstReading | None = None, ours: bool | None = None, publisher: Callable[[Config], Any] = lambda _: None) -> None:
    """Runs until SIGTERM, SIGINT or `stop`. pace_s is the real time between beats where the sources bring their own
    (default: the beat). told is given the findings of each minute. first is a
    reading that was taken before this module was imported, and ours whether the log's lock was ours then and still is
    (None: it is taken here).

    config: as read from the file; stop: ends it when set; clock: the board's, None: the real one; pace_s: real time between beats
    [s]; begins_utc_s: date of a simulated beginning, UTC [s]; told: is given the findings; first: the reading taken before this was
    imported; ours: the log's lock is ours; publisher: starts what publishes to a fleet (ValueError: it cannot), None: nothing does.

    Raises
    ------
    CannotRun : another daemon has this log, the log is of another kind or a later shape, or every beat breaks
    """
    stop = stop or SignalSafeEvent()
    _until_told(stop)
    with ExitStack() as stack:
        if not (stack.enter_context(hold_lock(config.log.database)) if ours is None else ours):
            raise CannotRun(f"another ampledger is writing {config.log.database}; stop it, or name another database under [log]")
        supervised: list[Supervised] = []
        clock = clock or _clock(config, stop, stack, supervised)
        notifier = Notifier()
        stack.callback(notifier.close)
        if pause_s := restarts.wait_s(clock.boot_s()):
            log.warning("started again and again; waiting %.0f s to spare the card", pause_s)
            stop.wait(pause_s)
        daemon, heartbeat, state_out = _daemon(config, clock, stack, supervised, begins_utc_s, first, publisher)
        chores = Maintenance(daemon.writer, config.log.database, raw_days=config.log.raw_days, backup_to=config.log.backup_to,
                             tell=daemon.record_event, same_card=config.log.backup_on_same_card, watch=daemon.self_watch)
        stack.callback(chores.close)
        supervised.append(chores)
        try:
            _beats(daemon, chores, (heartbeat, state_out), supervised, clock, notifier, stop, pace_s or config.log.beat_s, told)
        finally:
            notifier.stopping()
            if not daemon.close():
                log.error("not everything could be written before the end")


def _clock(config: Config, stop: SignalSafeEvent, stack: ExitStack, supervised: list[Supervised]) -> Clock:
    clock = BoardClock(stop.wait)
    if config.clock.gpsd is None:
        return clock
    from monitor.clocks.satellite_time import SatelliteClock, SatelliteTime

    host, _, port = config.clock.gpsd.rpartition(":")
    satellites = SatelliteTime(host, int(port), clock)
    stack.callback(satellites.close)
    supervised.append(satellites)
    return SatelliteClock(clock, satellites)


def _daemon(config: Config, clock: Clock, stack: ExitStack, supervised: list[Supervised], begins_utc_s: float | None,
            first: FirstReading | None, publisher: Callable[[Config], Any]) -> tuple[Daemon, Heartbeat, Heartbeat]:
    try:
        ways = channels(config.alerts.command, config.alerts.apprise, config.alerts.mqtt)
        publishing = publisher(config)
    except ValueError as error:
        raise CannotRun(str(error)) from None
    spool = Spool(config.log.database.parent / "undelivered.json")
    deliverer = Deliverer(ways, config.alerts.timeout_s, spool=spool)
    stack.callback(deliverer.close)
    hearers: list[Receiver] = [way for way in ways if isinstance(way, Topic)]
    if config.alerts.heartbeat_command:
        hearers.append(Command(tuple(config.alerts.heartbeat_command)))
    heartbeat = Heartbeat(hearers, 60.0 * config.alerts.heartbeat_minutes, config.alerts.timeout_s)
    stack.callback(heartbeat.close)
    topics: list[Receiver] = [StateTopic(way) for way in ways if isinstance(way, Topic) and way.with_state]
    state_out = Heartbeat(topics, STATE_EVERY_S, config.alerts.timeout_s)
    stack.callback(state_out.close)
    supervised += [deliverer, heartbeat, state_out]
    speak = [part for part in (deliverer, heartbeat, publishing) if part is not None]
    simulated = any(source.driver == "simulated" for source in config.sources)
    own_time = simulated or any(source.driver == "recorded" for source in config.sources)
    try:
        daemon = Daemon(config.log.database, config.vehicle, config.sources, clock=clock, begin=pipeline.begin, step=pipeline.step,
                      relearning=Relearning,
                      offer=deliverer.offer, conditions=lambda: tuple(part.condition() for part in speak),
                      beat_s=config.log.beat_s,
                      commit_s=config.log.commit_s, simulated=simulated,
                      begins_utc_s=(begins_utc_s if begins_utc_s is not None else clock.utc_s()) if own_time else None,
                      first=first, wiring=config.wiring, unknown_dividers=config.unknown_dividers,
                      copies=config.log.backup_to is not None)
    except (OtherLog, NewerLog) as error:
        raise CannotRun(str(error)) from None
    if publishing is not None:
        supervised.append(publishing)
        stack.callback(publishing.close)
    if spool.damaged:
        deliverer.offer_again(daemon.state.alerts.alerts)
        daemon.record_event("undelivered_damaged", "What still had to be sent could not be read: the file was damaged. Alerts that are "
                            "open are sent again; others that waited are lost.")
    daemon.writer.remember("channels", " ".join(way.name for way in ways))
    return daemon, heartbeat, state_out


def _sign_of_life(daemon: Daemon, found: Any) -> dict[str, Any]:
    """What a sign of life says: that it is alive, and how it stands in a line."""
    alerts = [a for a in daemon.state.alerts.alerts if a.state in ("active", "active acknowledged")]
    label = daemon.label
    return {"what": "heartbeat", "at_utc_s": None if label is None else round(found.at_s + label.utc_offset_s, 1),
            "utc_trusted": label is not None and label.utc_trusted, "status": status_line(found), "open_alerts": len(alerts),
            "most_urgent": max((a.priority for a in alerts), key=RANK.__getitem__, default=None),
            "log_written": daemon.writer.status().writing}


def _state(daemon: Daemon, found: Any) -> dict[str, Any]:
    """The whole state, for a topic."""
    label, samples = daemon.label, daemon.state.gathering.samples
    at_utc_s = None if label is None else found.at_s + label.utc_offset_s
    trusted = label is not None and label.utc_trusted
    hour = daemon.clock.hour(at_utc_s) if trusted and at_utc_s is not None else None
    return describe_message(found, samples[-1] if samples else daemon.state.gathering.before, daemon.vehicle, daemon.state.alerts.alerts,
                            at_utc_s=at_utc_s, utc_trusted=trusted, simulated=daemon.simulated, hour=hour)


def _beats(daemon: Daemon, chores: Maintenance, out: tuple[Heartbeat, Heartbeat], supervised: list[Supervised], clock: Clock,
           notifier: Notifier, stop: SignalSafeEvent, beat_s: float,
           told: Callable[[Any], None]) -> None:
    """A steady beat on absolute moments of a clock that cannot be set: one late beat makes no later one late."""
    heartbeat, state_out = out
    begun_s = next_s = clock.boot_s()
    broken, ready, armed = 0, False, False
    label = None
    while not stop.is_set():
        try:
            found = daemon.beat()
            broken = 0
        except OtherLog as error:
            raise CannotRun(str(error)) from None
        except Exception:
            broken += 1
            log.exception("a beat broke (%d in a row)", broken)
            if broken >= BROKEN_BEATS:
                raise CannotRun(f"{broken} beats in a row broke; see the journal") from None
            found = None
        else:
            notifier.alive()
        if not ready:
            notifier.ready("measuring")
            ready = True
        if found is not None:
            notifier.status(status_line(found))
            told(found)
            supervise(supervised, daemon.record_event)
            heartbeat.live(_sign_of_life(daemon, found))
            if state_out.has_receivers:
                state_out.live(_state(daemon, found))
            chores.serve(daemon.writer, daemon.self_watch)  # another where the log was found late
            if not armed and clock.boot_s() - begun_s >= CHORES_AFTER_S:
                chores.start()
                armed = True
            if armed:
                chores.overdue(found.at_s)
                if daemon.label is not label:
                    chores.rearm()
            label = daemon.label
        next_s += beat_s
        now_s = clock.boot_s()
        if now_s > next_s + beat_s:  # suspended, or starved: go on from now, without catching up
            next_s = now_s
        clock.wait(next_s)


def supervise(parts: Iterable[Supervised], tell: Callable[[str, str], None]) -> None:
    """No thread ends in silence: one that has ended is started again, with an event. The log writer's is the daemon's."""
    for part in parts:
        if not part.alive():
            name = type(part).__name__
            log.error("a thread of %s had ended; it is started again", name)
            part.revive()
            tell("thread_restarted", f"A thread of {name} had ended and was started again.")


def status_line(found: Any) -> str:
    """One line for `systemctl status`."""
    parts = []
    if isinstance(charge := found.charge.charge_frac, Estimate):
        parts.append(f"house {charge.value:.0%} ({charge.low:.0%} to {charge.high:.0%})")
    if isinstance(rest := found.starter.rest_voltage_v, Estimate):
        parts.append(f"starter {rest.value:.2f} V at rest")
    parts.append(f"isolator {found.join.isolator}")
    return ", ".join(parts)


def _until_told(stop: SignalSafeEvent) -> None:
    if threading.current_thread() is threading.main_thread():
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda *_: stop.set())


def journal_lines() -> None:
    """Sends the log to standard error; with a priority in front where the journal reads it (sd-daemon(3))."""
    handler = logging.StreamHandler(sys.stderr)
    if os.environ.get("JOURNAL_STREAM"):
        class Priority(logging.Formatter):
            """Puts syslog's number in front."""

            def format(self, record: logging.LogRecord) -> str:
                number = 3 if record.levelno >= logging.ERROR else 4 if record.levelno >= logging.WARNING else 6
                return f"<{number}>" + super().format(record)

        handler.setFormatter(Priority("%(name)s: %(message)s"))
    else:
        handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    logging.basicConfig(level=logging.INFO, handlers=[handler])
    logging.getLogger("alembic").setLevel(logging.WARNING)
