"""ampledger replay: the trackers over a recording."""
import sys
from datetime import datetime
from pathlib import Path

import click


@click.command(short_help="Run the trackers over a recorded CSV and write what they conclude.")
@click.argument("readings", type=click.Path(path_type=Path))
@click.option("--vehicle", "vehicle_file", required=True, type=click.Path(path_type=Path),
              help="A configuration file; it needs no sensors.")
@click.option("--start", type=str, help="Local time of second 0, as 2026-06-21T00:00:00+02:00. Default: local midnight.")
@click.option("--estimates", type=click.Path(path_type=Path), help="Write charge, capacity, resistance and states here.")
@click.option("--events", type=click.Path(path_type=Path), help="Write alerts and events here.")
@click.option("--forecasts", type=click.Path(path_type=Path), help="Write one forecast an hour here.")
@click.option("--every", default=60.0, show_default=True, type=click.FloatRange(1), help="Seconds between estimates.")
def replay(readings: Path, vehicle_file: Path, start: str | None, estimates: Path | None, events: Path | None,
           forecasts: Path | None, every: float) -> None:
    """Run the daemon's own trackers over READINGS, a CSV (plain or .gz) with the header
    t_s,house_v,house_a,starter_v,house_temp_c. Blanks are missing readings; other columns are ignored.

    Without any output file, prints where things stand at the end.
    """
    from monitor.cli import Refused
    from monitor.config import load
    from monitor.process import replay as replaying

    begins = None
    if start is not None:
        try:
            begins = datetime.fromisoformat(start)
        except ValueError:
            raise Refused(f"--start {start!r} is not a time; write it as 2026-06-21T00:00:00+02:00") from None
    vehicle = load.load(vehicle_file, need_sources=False).vehicle
    progress, finish = _progress()
    try:
        last = replaying.run(readings, vehicle, start=begins, every_s=every, estimates=estimates, events=events,
                             forecasts=forecasts, progress=progress)
    finally:
        finish()
    if last is None:
        raise Refused(f"{readings}: there is no row in it")
    if not (estimates or events or forecasts):
        from monitor.reporting.sentences import day_sentence, summary

        found = last.findings
        for sentence in summary(found.charge, found.forecast, found.starter, found.join, found.counts,
                                [c for c in found.conditions if c.active]):
            click.echo(sentence)
        click.echo(day_sentence(found.counts.total, "In all", found.counts.because))


def _progress():
    """Shown on a terminal only: days replayed, on standard error."""
    if not sys.stderr.isatty():
        return None, lambda: None
    from rich.console import Console
    from rich.progress import Progress, TextColumn

    bar = Progress(TextColumn("replayed {task.fields[days]:.1f} days"), console=Console(stderr=True), transient=True)
    task = bar.add_task("", total=None, days=0.0)
    bar.start()
    last = [0.0]

    def progress(at_s: float) -> None:
        if at_s - last[0] > 3600:
            last[0] = at_s
            bar.update(task, days=at_s / 86400)

    return progress, bar.stop
