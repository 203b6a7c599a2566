"""ampledger clock: how the log is dated, and the owner's word for the time."""
import time
from datetime import UTC, datetime
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, locate_database

#: A person who reads a clock and types [s], one standard deviation; and a computer's own clock.
TYPED_SIGMA_S, SHOWN_SIGMA_S = 30.0, 2.0


@click.command(short_help="Show how the log is dated, or say what time it is.")
@click.option("--set", "said", metavar="TIME", help="What time it is now, as 2026-11-29T10:00, local unless it ends in Z; "
              "`here` takes this computer's clock.")
@click.option("--sure", is_flag=True,
              help="You have looked twice: it holds against every other clock. Alone: what this computer's clock shows is right.")
@config_option
@database_option
def clock(said: str | None, sure: bool, config_file: Path | None, database: Path | None) -> None:
    """Show how the log is dated and by whom, or say to the daemon what time it is and hear whether it is believed.

    Dates can be put right at any time, for all that was ever logged; amp-hours are not affected.
    """
    from monitor.cli import Refused
    from monitor.commands.wishes import ask_daemon

    log = locate_database(config_file, database)
    if said is None and not sure:
        click.echo(_describe_latest(log))
        return
    here = said is None or said == "here"
    try:
        utc_s = time.time() if said is None or said == "here" else datetime.fromisoformat(said).timestamp()
    except (ValueError, OverflowError, OSError):
        raise Refused(f"--set {said}: not a time; write it as 2026-11-29T10:00") from None
    ask_daemon(log, "set_clock", utc_s=utc_s, sigma_s=SHOWN_SIGMA_S if here else TYPED_SIGMA_S,
               asked_boot_s=time.clock_gettime(time.CLOCK_BOOTTIME), sure=int(sure))


def _describe_latest(log: Path) -> str:
    from monitor.logbook.reader import Reader

    now = Reader(log).now()
    if now is None:
        return "Nothing is logged yet."
    at = datetime.fromtimestamp(now.utc_s, UTC).astimezone()
    sure = f"give or take {now.utc_sigma_s:.1f} s" if now.utc_trusted else "and nobody has confirmed that"
    return f"The latest minute is of {at:%Y-%m-%d %H:%M:%S %Z}, {sure}."
