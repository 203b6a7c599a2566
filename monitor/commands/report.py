"""ampledger report: one HTML file about the house battery, to show in a workshop."""
import os
import sys
import time
from pathlib import Path

import click

from monitor.commands.options import config_option, database_option, locate_database
from monitor.commands.whatif import CandidateType


@click.command(short_help="Write one HTML file about the house battery, to show or print.")
@click.option("--output", "-o", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="File to write; an earlier one is replaced. Default: house-battery-DATE.html here.")
@click.option("--with", "candidates", type=CandidateType(), multiple=True,
              help="A set-up to weigh against today's, as `ampledger whatif` takes it. Repeat. Default: a few that anyone would ask for.")
@config_option
@database_option
def report(output: Path | None, candidates: tuple[str, ...], config_file: Path | None, database: Path | None) -> None:
    """Write a report on the house battery that one can show in a workshop: one HTML file that needs no network.

    Verdict and evidence, capacity and resistance week by week, use and charge by source, the worst nights,
    wear, battery history, the same weeks with another set-up, alerts, method, sources and cautions. It prints on
    paper from any browser. The same as `python -m dashboard.printed`: a process of its own that only reads the log.
    """
    output = output or Path(f"house-battery-{time.strftime('%Y-%m-%d')}.html")
    arguments = [sys.executable, "-m", "dashboard.printed", "--database", str(locate_database(config_file, database)), "--output",
                 str(output)]
    for text in candidates:
        arguments += ["--with", text]
    os.execv(sys.executable, arguments)
