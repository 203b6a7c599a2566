"""python -m dashboard.jobs.life_work: works out the years left by the log and writes them as JSON. For the page Health."""
import json
import sys
from pathlib import Path

import click

from monitor.logbook.reader import NoLog, Reader
from monitor.planning.battery_life import work_out_life
from monitor.reporting import life_words
from monitor.reporting.sentences import sentence
from monitor.store.all_or_nothing import write_text


@click.command()
@click.option("--database", required=True, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--output", required=True, type=click.Path(path_type=Path, dir_okay=False))
def main(database: Path, output: Path) -> None:
    """Write headline and rows."""
    try:
        report = work_out_life(Reader(database))
    except (NoLog, ValueError) as error:
        raise click.ClickException(sentence(error)) from error
    write_text(output, json.dumps({"headline": life_words.describe_headline(report), "rows": life_words.list_rows(report),
                                   "made_utc_s": report.made_utc_s}))


if __name__ == "__main__":
    sys.exit(main())
