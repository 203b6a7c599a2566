"""ampledger pages: the dashboard as the configuration wants it."""
import os
import sys
from pathlib import Path

import click

from monitor.commands.options import config_option, load_config


@click.command(short_help="Serve the pages, as configured.")
@config_option
def pages(config_file: Path | None) -> None:
    """Serve the pages over the log, at the address and with the code of the configuration. Ctrl-C ends it.

    The same as `python -m dashboard` with the options that follow from [log] and [dashboard]: a process
    of its own that only reads the log, so a slow page cannot delay a reading.
    """
    config = load_config(config_file, need_sources=False)
    table = config.dashboard
    arguments = [sys.executable, "-m", "dashboard", "--database", str(config.log.database), "--address", table.address]
    if table.code_hash is not None:
        arguments += ["--code-file", str(config.path)]  # read there, so that no hash shows in the list of processes
    if table.code_to_read:
        arguments.append("--code-to-read")
    if table.certificate_file is not None:
        arguments += ["--certificate", str(table.certificate_file), "--key", str(table.key_file)]
    for name in table.names:
        arguments += ["--name", name]
    os.execv(sys.executable, arguments)
