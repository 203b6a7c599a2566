"""ampledger setup-finish: takes over, as root, what set-up on a phone made as a user without rights."""
import os
import stat
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import BOARD_LOG, PAGES_PORT, USUAL

#: What set-up leaves in its folder: the configuration, the answers, and the hash of the access code where the pages are to be open.
CONFIGURATION, ANSWERS, CODE_HASH = "ampledger.toml", "ampledger-answers.toml", "code-hash"
#: What set-up can have written; anything else (a certificate's key, a command for alerts) is not its business.
TABLES = ("house", "starter", "source", "shunt", "board", "commissioning", "vehicle", "log", "wiring")
#: A larger file is not what set-up writes (choice: far more than any configuration has).
LARGEST_BYTES = 100_000


@click.command("setup-finish", hidden=True)
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def setup_finish(folder: Path) -> None:
    """Take over what set-up on a phone left in FOLDER: check it, write /etc/ampledger, start the daemon and the pages.

    ampledger-setup-finish.service runs it. Nothing is taken over where a configuration is there already.
    """
    take_over(folder, USUAL[1], BOARD_LOG)
    from monitor.process.board_services import start_services

    click.echo(start_services())


def take_over(folder: Path, path: Path, log: Path) -> None:
    """Writes the configuration that set-up left, its answers beside it, and opens the pages where that was wished.

    folder : of another user, so nothing in it is followed or believed unchecked; path : where the configuration goes
    log : the only place that it may name for the log

    Raises
    ------
    Refused : there is a configuration already, or what was left is not what set-up writes
    ConfigError : it is no sound configuration
    """
    import tomlkit

    from monitor.cli import Refused
    from monitor.commissioning import document
    from monitor.process import network

    if path.exists():
        raise Refused(f"{path} is there already; nothing was taken over")
    doc = _parse(_read(folder / CONFIGURATION))
    strange = [name for name in doc if name not in TABLES]
    if strange or doc.get("log", {}).get("database") != str(log):
        raise Refused(f"{folder / CONFIGURATION} is not what set-up writes ({', '.join(strange) or 'another log'}); nothing was taken "
                      "over. Begin again: sudo ampledger setup --phone")
    opened = (folder / CODE_HASH).exists()
    if opened:
        document.note_result(doc, "dashboard", address=f"0.0.0.0:{PAGES_PORT}", code_hash=_read(folder / CODE_HASH).strip())
    document.write(doc, path)
    if opened and network.is_service():
        network.open_wall()
    answers = path.with_name(ANSWERS)
    answers.write_text(tomlkit.dumps(_parse(_read(folder / ANSWERS))), encoding="utf-8")
    answers.chmod(0o640)


def _parse(text: str) -> Any:
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    from monitor.cli import Refused

    try:
        return tomlkit.parse(text)
    except TOMLKitError as error:
        raise Refused(f"what set-up left is not TOML ({error}); nothing was taken over") from None


def _read(file: Path) -> str:
    """The text of a plain, short file; links and pipes are refused."""
    from monitor.cli import Refused

    opened = os.open(file, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    with open(opened, "rb") as plain:
        state = os.fstat(opened)
        if not stat.S_ISREG(state.st_mode) or state.st_nlink != 1 or state.st_size > LARGEST_BYTES:
            raise Refused(f"{file} is no plain file of a set-up; nothing was taken over")
        return plain.read().decode(errors="replace")
