"""The manual page, from the commands' own words."""
import sys
from pathlib import Path

import click

sys.path.insert(0, str(Path(__file__).parent.parent))

_HEAD = """\
.TH AMPLEDGER 1 "" "ampledger {version}" "User Commands"
.SH NAME
ampledger \\- watches a vehicle's two 12 V batteries
.SH SYNOPSIS
.B ampledger
.I COMMAND
.RI [ OPTION ...]
.SH DESCRIPTION
{about}
.PP
Each command explains itself: ampledger COMMAND \\-\\-help.
.SH COMMANDS
"""
_TAIL = """\
.SH FILES
.TP
.I /etc/ampledger/ampledger.toml
The configuration; ampledger setup writes it.
.TP
.I /var/lib/ampledger/
The log.
.TP
.I /opt/ampledger/share/doc/ampledger/
The documentation; the pages serve it too.
.SH EXIT STATUS
0 when it was done, 1 when it could not be done (one sentence says why), 2 when the command line is wrong.
.SH SEE ALSO
.BR systemctl (1),
.BR journalctl (1)
"""


def manual(version: str) -> str:
    """The page in roff."""
    from monitor.cli import commands

    ctx = click.Context(commands, info_name="ampledger")
    about = (commands.help or "").strip().replace("\n\n", "\n.PP\n")
    return _HEAD.format(version=version, about=_plain(about)) + "".join(_entries(commands, ctx, "")) + _TAIL


def _entries(group: click.Group, ctx: click.Context, before: str) -> list[str]:
    lines = []
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        if command is None or command.hidden:
            continue
        lines.append(f".TP\n.B ampledger {_plain(before + name)}\n{_plain(command.get_short_help_str(200))}\n")
        if isinstance(command, click.Group):
            lines += _entries(command, ctx, f"{before}{name} ")
    return lines


def _plain(text: str) -> str:
    lines = (line.strip() for line in text.replace("\\", "\\\\").replace("-", "\\-").replace("`", "").splitlines())
    return "\n".join(f"\\&{line}" if line.startswith(("'", ".")) and line != ".PP" else line for line in lines)
