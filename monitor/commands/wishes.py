"""What a person asks of the daemon: left at its door, its answer waited for and passed on with an exit code."""
import sys
from pathlib import Path
from typing import Any

import click

#: So long the daemon's answer is waited for [s]; it looks for wishes once a beat (choice: a few beats of a busy board).
WAIT_S = 10.0
#: Exit code of a command whose wish is kept and not yet done (choice: 1 is refused, 2 a wrong option).
KEPT_CODE = 3


def ask_daemon(database: Path, kind: str, **values: Any) -> None:
    """Leaves a wish, waits for the daemon's answer and passes it on.

    Ends with 0 where it is done, with 1 (Refused) where the daemon refused it, with 3 where it is kept and done later.

    database : the log; kind, values : what is asked (requests.KINDS)

    Raises
    ------
    Refused : the daemon said no, or the wish cannot be left
    """
    from monitor.cli import Refused
    from monitor.store import answers, lock, requests

    doors = requests.doors(database)
    if not database.exists() and lock.is_held(database) is not True:
        raise Refused(f"{database}: there is no log yet and nobody writes one; `ampledger run` begins it, --database names another")
    try:
        left = requests.ask(doors, kind, waits=True, **values)
    except ValueError as error:
        raise Refused(f"{error}") from None
    running = lock.is_held(database)
    answer = answers.wait_for(left, 0.0 if running is False else WAIT_S)
    if answer is None:
        requests.keep(left, doors)
        click.echo("Not done yet: " + (
            "the daemon is not running. Your wish is kept and done when it next runs (sudo systemctl start ampledger)." if running is False
            else f"the daemon has not answered within {WAIT_S:.0f} s. Your wish is kept and done when the daemon gets to it; "
            "`systemctl status ampledger` says what it is at."))
        sys.exit(KEPT_CODE)
    if not answer.done:
        raise Refused(f"not done: {answer.said}")
    click.echo(f"Done: {answer.said}")
    if answer.entry is not None:
        click.echo(f"If that was wrong: ampledger undo {answer.entry}")
