"""The command line of ampledger: one command, one file in monitor/commands."""
import importlib
import sys

import click

#: command -> module that holds it; imported only when asked for, so that --help is quick
COMMANDS = {
    "run": "run", "demo": "demo", "check": "check", "status": "status", "replay": "replay", "export": "export",
    "backup": "backup", "restore": "backup", "doctor": "doctor", "alerts": "alerts", "battery": "owner",
    "calibrate": "owner", "code": "code", "schema": "schema", "wire": "wire",
}


class Lazy(click.Group):
    """A group whose commands are imported on use."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        return getattr(importlib.import_module(f"monitor.commands.{COMMANDS[name]}"), name.replace("-", "_"))


@click.group(cls=Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="ampledger")
def commands() -> None:
    """Keeps the books of a vehicle's two 12 V batteries; only observes.

    Begin with `ampledger demo`, or write ampledger.toml and try `ampledger check`.
    """


class Refused(click.ClickException):
    """A command that could not do what was asked: one sentence, exit code 1."""

    def show(self, file=None) -> None:
        click.echo(f"ampledger: {self.message}", err=True)


def main() -> None:
    """Entry point of `ampledger`."""
    try:
        commands.main(prog_name="ampledger")
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
