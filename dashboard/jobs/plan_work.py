"""python -m dashboard.jobs.plan_work: works out a plan and writes the answer as JSON. For the page Plan."""
import json
import sys
import time
from pathlib import Path
from typing import Any

import click

from monitor.logbook.reader import NoLog, Reader
from monitor.planning.logged_life import Logged, read_logged
from monitor.planning.plan_request import PlanRequest, as_data, read_request, work_out
from monitor.planning.trip import describe_trip
from monitor.reporting import plan_page, plan_words
from monitor.reporting.sentences import sentence
from monitor.store.all_or_nothing import write_text


@click.command()
@click.option("--database", required=True, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--request", "text", required=True)
@click.option("--output", required=True, type=click.Path(path_type=Path, dir_okay=False))
def main(database: Path, text: str, output: Path) -> None:
    """Write the answer; prints the part that is done."""
    try:
        request = read_request(json.loads(text))
        found = answer(request, read_logged(Reader(database), request.log_days) if request.log_days else None)
    except (NoLog, ValueError) as error:
        raise click.ClickException(sentence(error)) from error
    write_text(output, json.dumps(found, allow_nan=False, ensure_ascii=False))


def answer(request: PlanRequest, logged: Logged | None) -> dict[str, Any]:
    """The answer as plain data, with a sheet to print for each system.

    Raises
    ------
    ValueError : something that cannot be, in one sentence
    """
    last = [0.0]

    def tell(done: float) -> None:
        if done - last[0] >= 0.01:
            last[0] = done
            click.echo(f"{done:.3f}")

    found = work_out(request, logged, tell)
    made, most_short_frac = time.strftime("%-d %b %Y", time.gmtime()), request.most_short_pct / 100
    return plan_words.as_data(found.drawn, found.results) | {
        "made_utc_s": time.time(), "request": as_data(request), "trip": describe_trip(found.drawn.trip),
        "lead": plan_words.lead(found.results, most_short_frac), "best": found.results.index(found.best),
        "cells": [plan_words.cells(result) for result in found.results],
        "loads": [[load.name, plan_page.describe_load(load), load.source] for load in found.drawn.loads],
        "sheets": [plan_page.format_page(found.drawn, found.results, result, most_short_frac, made) for result in found.results]}


if __name__ == "__main__":
    sys.exit(main())
