"""The options that several commands share: where the configuration and the log are."""
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, TypeVar

import click

from monitor.battery.chemistry_words import find_meant
from monitor.battery.label import CHEMISTRIES

Done = TypeVar("Done")
#: Looked for in this order where --config is not given.
USUAL = (Path("ampledger.toml"), Path("/etc/ampledger/ampledger.toml"))

#: The log of a board that was set up as it is meant to be.
BOARD_LOG = Path("/var/lib/ampledger/ampledger.db")
#: Where the pages are when nobody says otherwise (choice: beyond the usual services').
PAGES_PORT = 21873


class ChemistryType(click.ParamType):
    """A kind of battery; what people call it otherwise is asked back."""

    name = "kind"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """One of ours, or refused with the one that is most likely meant."""
        text = str(value).strip().lower()
        if text in CHEMISTRIES:
            return text
        meant = find_meant(text.replace(",", " ").split())
        if meant is None:
            self.fail(f"{str(value)[:30]!r} is no kind of battery here; there are {', '.join(CHEMISTRIES)}", param, ctx)
        if sys.stdin.isatty() and click.confirm(f"Do you mean {meant[0]} ({meant[1]})?", default=True):
            return meant[0]
        self.fail(f"{str(value)[:30]!r}: do you mean {meant[0]} ({meant[1]})? Then write {meant[0]}", param, ctx)


config_option: Callable = click.option(
    "--config", "-c", "config_file", type=click.Path(path_type=Path), envvar="AMPLEDGER_CONFIG", show_envvar=True,
    help="Configuration file. Default: ampledger.toml here, else /etc/ampledger/ampledger.toml.")
database_option: Callable = click.option(
    "--database", "-d", type=click.Path(path_type=Path), help="The log itself, instead of the one that the configuration names.")


def load_config(config_file: Path | None, *, need_sources: bool = True) -> Any:
    """The configuration that a command is to use. Raises ConfigError."""
    from monitor.config import load

    if config_file is None:
        config_file = next((place for place in USUAL if place.exists()), USUAL[0])
    found = load.load(config_file, need_sources=need_sources)
    _hand_over_later(found.log.database)
    return found


def locate_database(config_file: Path | None, database: Path | None) -> Path:
    """The log that a command is to read: the one named, else the configuration's. Raises ConfigError."""
    if database is not None:
        _hand_over_later(database)
        return database
    usual = config_file is None and not USUAL[0].exists() or config_file == USUAL[1]
    if usual and USUAL[1].exists() and not os.access(USUAL[1], os.R_OK) and os.access(BOARD_LOG, os.R_OK):
        return BOARD_LOG  # a member of the group may read the log, but not the secrets in the configuration
    return load_config(config_file, need_sources=False).log.database


def local_moment(utc_s: float) -> str:
    """A moment as lists give it: day and time of day of this board's time zone."""
    return datetime.fromtimestamp(utc_s, UTC).astimezone().strftime("%Y-%m-%d %H:%M")


def _hand_over_later(database: Path) -> None:
    """What root makes beside the service's log goes to the service's user when the command ends, however it ends."""
    from monitor.store import runtime

    if (context := click.get_current_context(silent=True)) is not None:
        context.call_on_close(lambda: runtime.hand_over_below(database))


def write_whole(path: Path, text: str) -> None:
    """Writes a file at once or not at all. Raises Refused where it cannot be written.

    path: the file; text: what it is to hold.
    """
    from monitor.cli import Refused
    from monitor.store.all_or_nothing import write_text

    try:
        write_text(path, text)
    except OSError as error:
        raise Refused(f"{path} cannot be written ({error.strerror}); name a file in a folder that is there and yours") from None


def with_progress(what: str, work: Callable[[Callable[[float], None]], Done]) -> Done:
    """Does a piece of work beside a bar on the terminal; what: it is; work: is given a function to be called with the part done."""
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True, disable=not sys.stderr.isatty()) as bar:
        task = bar.add_task(what, total=1.0)
        return work(lambda done: bar.update(task, completed=done))
