"""ampledger status: where things stand, from the log."""
import json
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import config_option, database_option, locate_database

#: A log that has not grown for so long is called old [s].
OLD_S = 600.0


@click.command(short_help="Show both batteries, from the log.")
@config_option
@database_option
@click.option("--json", "as_json", is_flag=True, help="As JSON, for scripts: every figure with value, low, high and basis.")
def status(config_file: Path | None, database: Path | None, as_json: bool) -> None:
    """Show both batteries: alerts, house, tonight, starter, isolator, today's book.

    Reads the log only, so it works whether the daemon runs or not, and says how old the figures are.
    """
    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.reporting import alert_view, sentences

    reader = Reader(locate_database(config_file, database))
    now = reader.now()
    if now is None:
        raise Refused(f"{reader.database}: nothing has been concluded yet; the first minute is written after a minute")
    found = now.findings
    alerts = alert_view.in_order([alert_view.in_todays_words(logged.what, found.conditions) for logged in reader.alerts(open_only=True)])
    hour = now.sample.hour if now.sample else None
    lines = sentences.summary(found.charge, found.forecast, found.starter, found.join, found.counts,
                               [c for c in found.conditions if c.active and not _has_alert(c, alerts)], hour)
    if as_json:
        click.echo(json.dumps(_plain(now, alerts, lines), indent=1, ensure_ascii=False))
        return
    if now.simulated:
        click.echo("SIMULATED: no real battery is behind these figures.\n")
    if (part := reader.relearning()) is not None:
        click.echo(f"Relearning from your log: {part:.0%}. Until it is done, figures may be less sure than they were.\n".replace("%", " %"))
    for alert in alerts:
        click.secho(f"[{alert.priority}] number {alert.id}, {alert.state}: {alert.seen} {alert.means}", bold=True)
    for line in lines:
        click.echo(line)
    click.echo(f"\nAs of {_moment(now.utc_s)}{'' if now.utc_trusted else ' (the clock is not trusted)'}, "
               f"{sentences.span(reader.age_s(now))} ago.{_old(now, reader.age_s(now))}")


def _has_alert(condition: Any, alerts: list[Any]) -> bool:
    return any((a.kind, a.battery) == (condition.kind, condition.battery) for a in alerts)


def _old(now: Any, age_s: float) -> str:
    if now.simulated or age_s < OLD_S:
        return ""
    return " The log has stopped growing: is `ampledger run` alive? Try `ampledger doctor`."


def _moment(utc_s: float) -> str:
    return datetime.fromtimestamp(utc_s, UTC).astimezone().strftime("%Y-%m-%d %H:%M %Z")


def _plain(now: Any, alerts: list[Any], lines: tuple[str, ...]) -> dict[str, Any]:
    return {
        "at_utc": datetime.fromtimestamp(now.utc_s, UTC).isoformat(timespec="seconds"),
        "utc_trusted": now.utc_trusted, "simulated": now.simulated, "sentences": lines,
        "sample": asdict(now.sample) if now.sample else None, "findings": asdict(now.findings),
        "vehicle": asdict(now.vehicle), "alerts": [asdict(alert) for alert in alerts],
    }
