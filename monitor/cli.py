"""The command line of ampledger: one command, one file in monitor/commands."""
import importlib
import os
import sys
import traceback
from pathlib import Path
from typing import Any

import click

#: command -> module that holds it; imported only when asked for, so that --help is quick
COMMANDS = {
    "setup": "setup",
    "after-install": "after_install", "setup-finish": "setup_finish", "run": "run", "pages": "pages", "demo": "demo", "check": "check",
    "status": "status", "replay": "replay", "export": "export",
    "alerts": "alerts", "battery": "owner", "loads": "loads", "calibrate": "owner", "relearn": "owner", "undo": "undo",
    "backup": "backup", "restore": "backup",
    "doctor": "doctor", "docs": "docs", "clock": "clock", "code": "code", "schema": "schema", "circuit": "circuit", "wiring": "wiring",
    "ventilation": "wiring", "parked": "parked", "wire": "wire", "label": "label", "life": "life", "second-battery": "second_battery",
    "plan": "plan", "size": "size", "whatif": "whatif", "report": "report", "capacity-test": "capacity_test", "fleet": "fleet",
}
#: former name -> command; for one release, with a hint
FORMER = {"captest": "capacity-test"}


class Refused(click.ClickException):
    """A command that could not do what was asked: one sentence, exit code 1."""

    def show(self, file: Any = None) -> None:  # noqa: ARG002 - click's own signature
        click.echo(f"ampledger: {self.message}", err=True)


class Lazy(click.Group):
    """A group whose commands are imported on use, and whose expected failures are sentences."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's own signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:  # noqa: ARG002 - click's own signature
        if name in FORMER:
            click.echo(f"`ampledger {name}` is called `ampledger {FORMER[name]}` now; the old name goes with the next release.", err=True)
            name = FORMER[name]
        if name not in COMMANDS:
            return None
        return getattr(importlib.import_module(f"monitor.commands.{COMMANDS[name]}"), name.replace("-", "_"))

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            sentence = _sentence(error)
            if sentence is None and (os.environ.get("AMPLEDGER_TRACE") or os.environ.get("JOURNAL_STREAM")):
                raise  # whoever looks for the mistake wants all of it, and the journal keeps it
            raise Refused(sentence or _own_mistake(error)) from None


def _sentence(error: Exception) -> str | None:
    """What to tell of a failure that can happen to anybody; None for our own mistakes."""
    import sqlite3

    from drivers.errors import DriverError
    from monitor.config.faults import ConfigError
    from monitor.store.reading import NoLog

    if isinstance(error, (ConfigError, DriverError, NoLog)):
        return str(error)
    if isinstance(error, sqlite3.DatabaseError):
        return f"the log cannot be read: {error}; `ampledger doctor` looks it over"
    if isinstance(error, PermissionError) and os.geteuid() != 0:
        return (f"{error.filename}: {error.strerror}; run it with sudo. To read the log without it: "
                "sudo adduser $USER ampledger-log, and log in again")
    if isinstance(error, OSError):
        return f"{error.filename}: {error.strerror}" if error.filename else str(error)
    return None


def _own_mistake(error: Exception) -> str:
    """A mistake in ampledger itself, in a sentence that is worth reporting."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    place = f"{Path(last.filename).name}, line {last.lineno}"
    return (f"a mistake in ampledger itself: {type(error).__name__}: {error} ({place}). Nothing of yours is wrong; please report it. "
            "The whole trace: AMPLEDGER_TRACE=1 before the same command")


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="ampledger")
def commands() -> None:
    """Watches the starter and the house battery of a vehicle; cannot switch anything.

    See the whole of it in a minute with `ampledger demo`. For your own vehicle let `ampledger setup`
    write ampledger.toml, try it with `ampledger check`, then let `ampledger run` keep the log.
    """


def main() -> None:
    """Entry point of `ampledger`."""
    try:
        commands.main(prog_name="ampledger")
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
