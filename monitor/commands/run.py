"""ampledger run: the daemon."""
import logging
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import config_option, loaded


@click.command(short_help="Watch both batteries and keep the log, until told to end.")
@config_option
@click.option("--verbose", "-v", is_flag=True, help="Also log what is only of interest when looking for a fault.")
def run(config_file: Path | None, verbose: bool) -> None:
    """Watch both batteries: read the sensors on a steady beat, keep the log, raise and deliver alerts.

    Ends cleanly on Ctrl-C or SIGTERM, and goes on where it was when it is started again. Started by
    systemd (systemd/ampledger.service) it says when it is ready and feeds the watchdog.
    """
    from monitor import journal
    from monitor.alerts.delivery import channels
    from monitor.cli import Refused
    from monitor.store.lock import held

    journal.begin(logging.DEBUG if verbose else logging.INFO)
    config = loaded(config_file)
    simulated = [source for source in config.sources if source.driver == "simulated"]
    if simulated and len(simulated) < len(config.sources):
        raise Refused(f"{config.path}: a simulated source beside real ones would mix invented readings with measured ones; "
                      "take it out, or keep it alone")
    try:
        ways = channels(config.alerts.command, config.alerts.apprise, config.alerts.mqtt)
    except ValueError as error:
        raise Refused(f"{config.path}: {error}") from None
    with held(config.log.database) as ours:
        if not ours:
            raise Refused(f"another ampledger is writing {config.log.database} already; one log has one daemon")
        whole = _keep(config, ways, simulated=bool(simulated))
    if not whole:
        raise Refused(f"{config.log.database}: not everything could be written before the end")


def _keep(config: Any, ways: list[Any], *, simulated: bool) -> bool:
    """Builds the daemon and keeps its beat until told to end; returns whether everything was written."""
    from monitor import watch
    from monitor.alerts.delivery import Deliverer
    from monitor.alerts.spool import Spool
    from monitor.beats import Stop, keep
    from monitor.board_clock import BoardClock
    from monitor.cli import Refused
    from monitor.daemon import Daemon, OtherLog
    from monitor.notify import Notifier

    stop, notifier = Stop(), Notifier()
    stop.on_signals()
    clock = BoardClock(stop.wait)
    deliverer = Deliverer(ways, config.alerts.timeout_s, spool=Spool(config.log.database.parent / "undelivered.json"))
    try:
        daemon = Daemon(
            config.log.database, config.vehicle, config.sources, clock=clock, begin=watch.begin, step=watch.step,
            offer=deliverer.offer, conditions=lambda: (deliverer.condition(),), beat_s=config.log.beat_s,
            commit_s=config.log.commit_s, simulated=simulated, begins_utc_s=clock.utc_s() if simulated else None)
        minutely = Minutely(config, daemon, clock, notifier)
        try:
            keep(daemon, clock, config.log.beat_s, stop, notifier=notifier, each=minutely.take)
        finally:
            notifier.stopping()
            minutely.close()
            whole = daemon.close()
    except OtherLog as error:
        raise Refused(str(error)) from None
    finally:
        deliverer.close()
        notifier.close()
    return whole


class Minutely:
    """What is done once a minute beside the readings: the line for `systemctl status`, and the jobs of the night."""

    def __init__(self, config: Any, daemon: Any, clock: Any, notifier: Any) -> None:
        self._config, self._daemon, self._clock, self._notifier = config, daemon, clock, notifier
        self._chores: Any = None
        self._offset_s = clock.utc_s() - clock.boot_s()

    def take(self, found: Any) -> None:
        """Take what a beat gave: findings once a minute, else None."""
        if found is None:
            return
        from monitor.report import charge_sentence

        self._notifier.status(charge_sentence(found.charge))
        if self._chores is None:
            from monitor.chores import Chores

            log = self._config.log
            self._chores = Chores(self._daemon.writer, log.database, raw_days=log.raw_days, backup_to=log.backup_to, tell=self._tell)
            self._chores.start()
        offset_s = self._clock.utc_s() - self._clock.boot_s()
        if abs(offset_s - self._offset_s) > 2.0:  # the wall clock was set, and the night's jobs go by it
            self._offset_s = offset_s
            self._chores.rearm()
        if self._daemon.writer.status().writing and self._daemon.writer.status().commits:
            self._chores.overdue(found.at_s)

    def close(self) -> None:
        """No more jobs."""
        if self._chores is not None:
            self._chores.close()

    def _tell(self, kind: str, message: str) -> None:
        from monitor.findings import Event
        from monitor.store.batch import Batch

        at_s = self._daemon.findings.at_s if self._daemon.findings else 0.0
        self._daemon.writer.offer(Batch(events=(Event(at_s, kind, "vehicle", message),)))
