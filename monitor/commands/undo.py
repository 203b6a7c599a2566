"""ampledger undo: list what was told to the daemon, and take an entry back."""
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, local_moment, locate_database

#: So many are listed where none is named (choice: a terminal's height).
LISTED = 20


@click.command(short_help="List your entries, or undo one.")
@click.argument("number", type=int, required=False)
@click.option("--all", "every", is_flag=True, help="List every entry that is kept, not only the latest.")
@config_option
@database_option
def undo(number: int | None, every: bool, config_file: Path | None, database: Path | None) -> None:
    """Undo entry NUMBER: a new battery, its name, a shunt's zero, a capacity test, the time, an alert marked as seen or a reminder.

    Without NUMBER the entries are listed, the latest first: number, when, by whom, what, and whether it was undone and by whom.
    What was there before is put back, and what was learnt since is learnt again from the log. Of entries about the same
    thing the latest comes first. The log keeps both, the entry and that it was undone.
    """
    from monitor.commands.wishes import ask_daemon
    from monitor.logbook.reader import Reader

    log = locate_database(config_file, database)
    if number is not None:
        ask_daemon(log, "undo", entry=number)
        return
    rows = Reader(log).entries().rows[::-1]
    for entry in rows if every else rows[:LISTED]:
        undone = "" if entry.undone_utc_s is None else f" UNDONE {local_moment(entry.undone_utc_s)} by {entry.undone_by or 'somebody'}"
        click.echo(f"{entry.id:>4}  {local_moment(entry.utc_s)}  {entry.by or 'somebody'}: {entry.said}{undone}")
    if not rows:
        click.echo("No entries so far.")
