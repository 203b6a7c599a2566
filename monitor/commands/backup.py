"""ampledger backup and restore: a proved copy of the log, and the way back."""
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import config_option, database_option, locate_database


@click.command(short_help="Copy the log, while the daemon goes on writing.")
@click.argument("target", type=click.Path(path_type=Path))
@config_option
@database_option
@click.option("--same-card", is_flag=True,
              help="Even where TARGET lies on the card that the log is on: against a mistake, not a dead card.")
@click.option("--replace", is_flag=True, help="Write over a file of that name.")
def backup(target: Path, config_file: Path | None, database: Path | None, same_card: bool, replace: bool) -> None:
    """Copy the log to TARGET: a file, or a folder that gets a file with today's date.

    The copy is read whole, checksums and all, before it takes its name: a copy that has a name is
    good. Nothing stops meanwhile. A place on the log's own card, as that of a stick that is not plugged in,
    is refused. For a copy every night set backup_to under [log].
    """
    from monitor.cli import Refused
    from monitor.process.copies import check_target
    from monitor.store import backup as copies

    log = locate_database(config_file, database)
    if target.is_dir():
        target = target / f"ampledger-{datetime.now():%Y-%m-%d-%H%M}.db"
    progress, finish = _progress()
    try:
        check_target(log, target, same_card=same_card, replace=replace)
        proof = copies.backup(log, target, progress)
    except copies.NotCopied as error:
        raise Refused(str(error)) from None
    finally:
        finish()
    click.echo(f"{target}: {proof.minutes} minutes and {proof.hours_packed} packed hours, read back and whole.")
    if proof.damaged_hours:
        click.echo(f"ampledger: {proof.damaged_hours} of the packed hours were damaged before; the rest is good. "
                   "A worn card does this: `ampledger doctor`.", err=True)
        sys.exit(1)


@click.command(short_help="Put a copy in the place of the log.")
@click.argument("copy", type=click.Path(path_type=Path))
@config_option
@database_option
@click.option("--yes", is_flag=True, help="Do not ask.")
def restore(copy: Path, config_file: Path | None, database: Path | None, yes: bool) -> None:
    """Put COPY (from `ampledger backup`) in the place of the log. Stop the daemon first.

    The copy is verified before anything is touched, and the log that is there now is kept beside it
    under another name.
    """
    from monitor.cli import Refused
    from monitor.store import backup as copies
    from monitor.store.migrate import NewerLog

    log = locate_database(config_file, database)
    if log.exists() and not yes:
        click.confirm(f"{log} will be kept under another name, and {copy} put in its place. Go on?", abort=True)
    try:
        proof = copies.restore(copy, log)
    except (copies.NotCopied, NewerLog) as error:
        raise Refused(str(error)) from None
    click.echo(f"{log}: {proof.minutes} minutes and {proof.hours_packed} packed hours are back.")


def _progress() -> tuple[Any, Any]:
    """Shown on a terminal only: pages copied."""
    if not sys.stderr.isatty():
        return None, lambda: None
    from rich.console import Console
    from rich.progress import Progress

    bar = Progress(console=Console(stderr=True), transient=True)
    task = bar.add_task("copying", total=None)
    bar.start()
    return lambda left, whole: bar.update(task, total=whole, completed=whole - left), bar.stop
