"""ampledger export: the log as CSV, every row or roll-ups."""
import csv
import sys
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import config_option, database_option, locate_database

#: column of a recording -> quantity; what `ampledger replay` reads
RECORDING = {"house_v": "house_voltage_v", "house_a": "house_current_a", "starter_v": "starter_voltage_v",
             "house_temp_c": "house_temperature_c"}


@click.command(short_help="Write the log as CSV: every reading, or minutes, hours, days.")
@click.option("--every", default="minutes", show_default=True,
              type=click.Choice(["raw", "minutes", "quarters", "hours", "days", "recording", "loads"]),
              help="raw is every reading; recording is every reading in the columns that `ampledger replay` takes; loads is what each "
              "named load took, day by day.")
@click.option("--from", "first", metavar="TIME", help="Begin here: 2026-06-01, or 2026-06-01T18:00+02:00. Default: the beginning.")
@click.option("--to", "last", metavar="TIME", help="End here. Default: the end.")
@click.option("--output", "-o", type=click.Path(path_type=Path), help="File to write. Default: standard output.")
@config_option
@database_option
def export(every: str, first: str | None, last: str | None, output: Path | None, config_file: Path | None,
           database: Path | None) -> None:
    """Write the log as CSV, from the beginning to the end unless you say otherwise.

    Times are UTC; a time without an offset is taken as local. Names end in their unit, current is
    positive into the battery, an empty cell was not measured. Every row of the span is written; an
    hour whose checksum does not fit is left out, said on standard error, and the exit code is 1.
    """
    from monitor.logbook.reader import Reader

    reader = Reader(locate_database(config_file, database))
    reader.span()  # says that there is no log before anything is written
    span = (_utc_s(first, "--from", 0.0), _utc_s(last, "--to", 1e12))
    with ExitStack() as stack:
        file = sys.stdout if output is None else stack.enter_context(open(output, "w", newline="", encoding="utf-8"))
        writer = csv.writer(file, lineterminator="\n")
        write = _readings if every in ("raw", "recording") else _loads if every == "loads" else _rows_of_level
        damaged = write(reader, span, every, writer)
    for sentence in damaged:
        click.echo(f"ampledger: {sentence}", err=True)
    if damaged:
        sys.exit(1)


def _readings(reader: Any, span: tuple[float, float], every: str, writer: Any) -> list[str]:
    from monitor.store.columns import RAW

    said: list[str] = []
    names = tuple(RECORDING.values()) if every == "recording" else tuple(RAW)
    writer.writerow(("t_s", *RECORDING) if every == "recording" else ("utc", *names))
    start = None
    for at_utc_s, sample in reader.rows(*span, lambda a, b: said.append(f"the readings from {_text(a)} to {_text(b)} are damaged")):
        start = at_utc_s if start is None else start
        when = f"{at_utc_s - start:.3f}".rstrip("0").rstrip(".") if every == "recording" else _text(at_utc_s)
        writer.writerow((when, *("" if (value := getattr(sample, name)) is None else f"{value:g}" for name in names)))
    return said


def _rows_of_level(reader: Any, span: tuple[float, float], every: str, writer: Any) -> list[str]:
    header = False
    for start_s, end_s, values in reader.rows_of_level(every, *span):
        if not header:
            writer.writerow(("utc_start", "utc_end", *values))
            header = True
        writer.writerow((_text(start_s), _text(end_s), *("" if v is None else f"{v:.6g}" for v in values.values())))
    if not header:
        writer.writerow(("utc_start", "utc_end"))
    return []


def _loads(reader: Any, span: tuple[float, float], _: str, writer: Any) -> list[str]:
    """A row for each named load and day: what it took, with its 95 % range."""
    from monitor.usage.found_loads import DAY_EVENT

    writer.writerow(("utc_end", "load", "taken_ah", "low_ah", "high_ah"))
    for logged in reader.events_of(DAY_EVENT):
        if span[0] <= logged.at_utc_s <= span[1]:
            took = dict(logged.what.figures)
            for key in took:
                name, _, what = key.rpartition(" ")
                if what == "ah":
                    figures = [f"{took[f'{name} {part}']:.3f}" for part in ("ah", "low_ah", "high_ah")]
                    writer.writerow((_text(logged.at_utc_s), name, *figures))
    return []


def _text(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _utc_s(text: str | None, option: str, default: float) -> float:
    from monitor.cli import Refused

    if text is None:
        return default
    try:
        return datetime.fromisoformat(text).astimezone(UTC).timestamp()
    except (ValueError, OverflowError):
        raise Refused(f"{option} {text!r} is not a time; write it as 2026-06-01 or 2026-06-01T18:00+02:00") from None
