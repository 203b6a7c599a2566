"""python -m dashboard.jobs.what_if_work: replays the log through other set-ups and writes the answers as JSON. For the page What if."""
import json
import sys
from dataclasses import asdict
from pathlib import Path

import click

from monitor.logbook.reader import NoLog, Reader
from monitor.planning import candidates, whatif
from monitor.planning.logged_life import describe_logged
from monitor.reporting.sentences import sentence
from monitor.store.all_or_nothing import write_text

FIGURES = ("nights_below_per_30", "nights_difference_per_30", "unserved_ah_per_30", "lowest_frac", "full_days_per_30", "cycles_per_year")
#: Figures that a short log does not give.
PERHAPS = ("years",)


@click.command()
@click.option("--database", required=True, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--days", required=True, type=click.IntRange(3, 730))
@click.option("--with", "asked", multiple=True, required=True)
@click.option("--output", required=True, type=click.Path(path_type=Path, dir_okay=False))
def main(database: Path, days: int, asked: tuple[str, ...], output: Path) -> None:
    """Write the answers for today's set-up and the others; prints the part that is done."""
    try:
        found = weigh(database, days, asked)
    except (NoLog, ValueError, whatif.NotExplained) as error:
        raise click.ClickException(sentence(error)) from error
    write_text(output, json.dumps(found, allow_nan=False))


def weigh(database: Path, days: int, asked: tuple[str, ...]) -> dict:
    """The answers as plain data, today's set-up first.

    database: the log's file; days: of the log that are looked at; asked: candidates as `ampledger whatif` takes them.

    Raises
    ------
    ValueError : the log is empty, the capacity is not known, or a candidate cannot be read
    whatif.NotExplained : the log does not explain the present battery
    """
    now, life, known = describe_logged(Reader(database), days)
    setups = [candidates.setup(known.setup, text) for text in asked]
    slots, rms = whatif.explain(life, known)
    total = (1 + len(setups)) * whatif.DRAWS

    def tell(done: int) -> None:
        if done % 5 == 0:
            click.echo(f"{done / total:.3f}")

    answers = whatif.ask(slots, known, setups, rms, progress=tell)
    return {
        "made_utc_s": now.utc_s, "days": len(slots) / 96, "asked_days": days, "simulated": now.simulated, "weight": answers[0].weight,
        "reserve_frac": known.setup.reserve_frac,
        "answers": [{"asked": text, "capacity_ah": a.setup.capacity_ah, "chemistry": a.setup.chemistry,
                     "reserve_frac": a.setup.reserve_frac} |
                    {name: asdict(getattr(a, name)) for name in (*FIGURES, *PERHAPS)} | {"shortened_by": a.shortened_by}
                    for text, a in zip(("", *asked), answers, strict=True)]}


if __name__ == "__main__":
    sys.exit(main())
