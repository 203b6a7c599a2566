"""ampledger alerts: list, acknowledge, put aside, and try the deliveries."""
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import config_option, database_option, load_config, local_moment, locate_database


@click.group(short_help="List alerts, mark them as seen, be reminded later; send a test alert.")
def alerts() -> None:
    """The alerts of this vehicle. `ampledger docs alerts` says of each what it means and what to do."""


@alerts.command("list", short_help="Show open alerts, or all.")
@click.option("--all", "every", is_flag=True, help="Also those that are over and acknowledged.")
@config_option
@database_option
def show(every: bool, config_file: Path | None, database: Path | None) -> None:
    """Show the alerts that need attention, the latest first, and messages that could not be delivered."""
    from monitor.alerts.spool import Spool
    from monitor.logbook.reader import Reader
    from monitor.reporting import alert_view

    reader = Reader(locate_database(config_file, database))
    found, now = reader.alerts(open_only=not every), reader.now()
    for logged in found:
        _print(replace(logged, what=alert_view.in_todays_words(logged.what, now.findings.conditions if now else ())))
    if not found:
        click.echo("No alert was ever raised." if every else "No open alert.")
    for item in Spool(reader.database.parent / "undelivered.json").read():
        if item.tries:
            click.echo(f"Not delivered by {item.channel} after {item.tries} tries: {item.change.alert.kind}: {item.why}")


def _print(logged: Any) -> None:
    alert = logged.what
    by = f" by {alert.acknowledged_by}" if alert.acknowledged_by else ""
    click.secho(f"{alert.id}  {alert.kind.replace('_', ' ')} ({alert.battery}), {alert.priority}, {alert.state}{by}, "
                f"since {local_moment(logged.at_utc_s)}"
                + (f", over {local_moment(logged.until_utc_s)}" if logged.until_utc_s else ""), bold=True)
    for heading, text in (("Seen", alert.seen), ("Means", alert.means), ("Evidence", alert.evidence), ("Check first", alert.look_first),
                          ("Clears when", alert.clears_when)):
        if text:
            click.echo(f"    {heading + ':':<13}{text}")


@alerts.command(short_help="Mark an alert as seen.")
@click.argument("number", type=int)
@config_option
@database_option
def acknowledge(number: int, config_file: Path | None, database: Path | None) -> None:
    """Mark alert NUMBER as seen (from `ampledger alerts list`).

    It stays listed while its cause lasts, and is announced again only if it gets worse.
    """
    _ask(locate_database(config_file, database), number, "acknowledge", alert=number)


@alerts.command(short_help="Be reminded of an alert in some hours.")
@click.argument("number", type=int)
@click.option("--hours", default=8.0, show_default=True, type=click.FloatRange(0.1, 168), help="At most a week.")
@config_option
@database_option
def shelve(number: int, hours: float, config_file: Path | None, database: Path | None) -> None:
    """Be reminded of alert NUMBER later: nothing is sent about it until the hours are over, then it comes again if it still holds."""
    _ask(locate_database(config_file, database), number, "shelve", alert=number, for_s=3600.0 * hours)


def _ask(database: Path, number: int, kind: str, **values: Any) -> None:
    from monitor.cli import Refused
    from monitor.commands.wishes import ask_daemon
    from monitor.logbook.reader import Reader

    if number not in [logged.what.id for logged in Reader(database).alerts(open_only=True)]:
        raise Refused(f"no open alert number {number}; `ampledger alerts list` shows them")
    ask_daemon(database, kind, **values)


@alerts.command(short_help="Send a test alert through every configured channel.")
@config_option
def test(config_file: Path | None) -> None:
    """Send one test alert through each configured channel, and say which worked. Exit code 1 if one did not."""
    from monitor.alerts import channels, delivery, rules
    from monitor.cli import Refused
    from monitor.findings import Condition

    wanted = load_config(config_file, need_sources=False).alerts
    try:
        ways = delivery.channels(wanted.command, wanted.apprise, wanted.mqtt)
    except ValueError as error:
        raise Refused(str(error)) from None
    condition = Condition("test", "vehicle", True, "low", "This is a test.", "Nothing is wrong: somebody ran `ampledger alerts test`.",
                          "Nothing.", "It clears by itself.")
    change = rules.update(rules.begin(), (condition,), 0.0).news[0]
    failed = 0
    for way in ways:
        try:
            way.send(change, wanted.timeout_s)
            click.echo(f"{way.name}: sent")
        except channels.NotDelivered as error:
            failed += 1
            click.echo(f"{way.name}: NOT sent: {error}")
        finally:
            getattr(way, "close", lambda: None)()
    if wanted.heartbeat_command:
        try:
            channels.Command(tuple(wanted.heartbeat_command)).hand({"what": "test"}, wanted.timeout_s)
            click.echo("heartbeat: sent")
        except channels.NotDelivered as error:
            failed += 1
            click.echo(f"heartbeat: NOT sent: {error}")
    if len(ways) == 1:
        click.echo("Only the journal is configured; `ampledger docs alerts` shows how to be notified on a phone.")
    if failed:
        sys.exit(1)
