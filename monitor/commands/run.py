"""ampledger run: the daemon."""
import logging
from pathlib import Path

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
    from monitor import journal, watch
    from monitor.alerts.delivery import Deliverer, channels
    from monitor.alerts.spool import Spool
    from monitor.beats import Stop, keep
    from monitor.board_clock import BoardClock
    from monitor.cli import Refused
    from monitor.daemon import Daemon, OtherLog
    from monitor.notify import Notifier

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
    stop, notifier = Stop(), Notifier()
    stop.on_signals()
    clock = BoardClock(stop.wait)
    deliverer = Deliverer(ways, config.alerts.timeout_s, spool=Spool(config.log.database.parent / "undelivered.json"))
    begins_utc_s = clock.utc_s() if simulated else None
    whole = False
    try:
        daemon = Daemon(
            config.log.database, config.vehicle, config.sources, clock=clock, begin=watch.begin, step=watch.step,
            offer=deliverer.offer, conditions=lambda: (deliverer.condition(),), beat_s=config.log.beat_s,
            commit_s=config.log.commit_s, simulated=bool(simulated), begins_utc_s=begins_utc_s)
        try:
            keep(daemon, clock, config.log.beat_s, stop, notifier=notifier)
        finally:
            notifier.stopping()
            whole = daemon.close()
    except OtherLog as error:
        raise Refused(str(error)) from None
    finally:
        deliverer.close()
        notifier.close()
    if not whole:
        raise Refused(f"{config.log.database}: not everything could be written before the end")
