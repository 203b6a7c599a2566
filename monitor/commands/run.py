"""ampledger run: the daemon."""
import logging
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from monitor.commands.options import config_option, load_config

if TYPE_CHECKING:
    from monitor.config.load import Config


@click.command(short_help="Watch both batteries and keep the log, until stopped.")
@config_option
@click.option("--verbose", "-v", is_flag=True, help="Also log what is only of interest when looking for a fault.")
def run(config_file: Path | None, verbose: bool) -> None:
    """Watch both batteries: read the sensors on a steady beat, keep the log, raise and deliver alerts.

    Ends cleanly on Ctrl-C or SIGTERM, and goes on where it was when it is started again. Started by
    systemd (systemd/ampledger.service) it says when it is ready and feeds the watchdog.
    """
    from monitor.sampling import first_reading
    from monitor.store.lock import hold_lock

    config = load_config(config_file)
    with hold_lock(config.log.database) as ours:  # from the first reading to the end: no other daemon can come in between
        first = first_reading.take(config.sources, config.log.beat_s) if ours else None
        from monitor.cli import Refused
        from monitor.process import service  # half a second of imports, for which the first reading need not wait

        service.journal_lines()
        if verbose:
            logging.getLogger("ampledger").setLevel(logging.DEBUG)
        try:
            service.run(config, first=first, ours=ours, publisher=_start_publishing)
        except service.CannotRun as error:
            raise Refused(str(error)) from None


def _start_publishing(config: "Config") -> Any:
    """The thread that publishes to a fleet, None where no fleet is configured: then nothing of it is even imported."""
    if config.publish.url is None:
        return None
    from monitor.fleet.publish_thread import publish_thread

    return publish_thread(config.publish, config.log.database)
