"""What the owner tells the daemon: a battery replaced or named, a shunt's zero; and the batteries of the log's history."""
import sys
import time
from datetime import datetime
from pathlib import Path

import click

from monitor.commands.options import ChemistryType, config_option, database_option, locate_database
from monitor.commands.wishes import ask_daemon


@click.group(short_help="Record a new battery, name the one there, list all.")
def battery() -> None:
    """The life of the batteries: what the log cannot know by itself.

    Each command waits for the daemon's answer, at most ten seconds, and passes it on: exit code 0 done, 1 refused, 3 kept
    and done later. `ampledger undo` takes an entry back.
    """


@battery.command(short_help="A new battery was put in.")
@click.argument("which", type=click.Choice(["house", "starter"]))
@click.option("--capacity", "rated_capacity_ah", type=click.FloatRange(1, 2000), help="Ampere-hours on the new label.")
@click.option("--chemistry", type=ChemistryType(), help="Of the new battery, if it is of another kind: flooded, agm, gel or lfp.")
@click.option("--label", default="", help="What you call it, so that lists can name it.")
@click.option("--on", "day", metavar="DAY", help="When it was put in, as 2026-06-01. Default: now.")
@click.option("--yes", is_flag=True, help="Do not ask, even where the day is before the log began.")
@config_option
@database_option
def replaced(which: str, rated_capacity_ah: float | None, chemistry: str | None, label: str, day: str | None, yes: bool,
             config_file: Path | None, database: Path | None) -> None:
    """Say that the HOUSE or STARTER battery was replaced: what was learnt of the old one is set aside.

    The shunt's offset is kept, for it belongs to the shunt. If the new label differs, change the configuration too.
    The old battery's weeks stay in the log: see `ampledger battery list`.
    """
    log, at_utc_s = locate_database(config_file, database), _day_utc_s(day)
    if at_utc_s is not None and not yes:
        _question_day(log, which, str(day), at_utc_s)
    ask_daemon(log, "battery_replaced", battery=which, rated_capacity_ah=rated_capacity_ah,
               label=_label(label) if label else "", chemistry=chemistry, at_utc_s=at_utc_s)


def _is_asked() -> bool:
    """Whether a person sits there to be asked."""
    return sys.stdin.isatty()


def _question_day(log: Path, which: str, day: str, at_utc_s: float) -> None:
    """Asks back where a battery is said to have been put in before the log began: what was learnt would be put aside for nothing.

    Raises
    ------
    Refused : the answer is no, or nobody can be asked
    """
    from monitor.cli import Refused
    from monitor.logbook.reader import NoLog, Reader

    try:
        span = Reader(log).span()
    except NoLog:
        return
    if span is None or at_utc_s >= span[0]:
        return
    begun = datetime.fromtimestamp(span[0]).date().isoformat()
    why = (f"{day} is before the log began ({begun}): the {which} battery in the log would be the new one all along. To tell only "
           f"when it was put in: ampledger battery describe {which} --installed {day}")
    if not _is_asked():
        raise Refused(f"{why}. If it is a new battery all the same, add --yes")
    if not click.confirm(f"{why}.\nSet aside what was learnt of it all the same?", default=False):
        raise Refused("nothing was changed")


@battery.command(short_help="Name the battery that is there, or say when it was put in.")
@click.argument("which", type=click.Choice(["house", "starter"]))
@click.option("--label", help="What you call it.")
@click.option("--installed", "day", metavar="DAY", help="When it was put in, as 2024-05-01; it may be before the log began.")
@config_option
@database_option
def describe(which: str, label: str | None, day: str | None, config_file: Path | None, database: Path | None) -> None:
    """Tell of the HOUSE or STARTER battery that is there now: a name for it, the day it was put in, or both."""
    if label is None and day is None:
        raise click.UsageError("give --label, --installed, or both")
    ask_daemon(locate_database(config_file, database), "battery_described", battery=which,
               label=None if label is None else _label(label), installed_utc_s=_day_utc_s(day))


@battery.command("list", short_help="All batteries in the log's history, compared.")
@config_option
@database_option
def list_(config_file: Path | None, database: Path | None) -> None:
    """List the batteries that were there one after another, with what the log saw of each house battery.

    Capacity and resistance are means of its first and of its latest three weeks on record.
    """
    from rich.console import Console
    from rich.table import Column, Table

    from monitor.cli import Refused
    from monitor.logbook.reader import Reader
    from monitor.reporting import history_words
    from monitor.wear.battery_history import compare_services

    reader = Reader(locate_database(config_file, database))
    now = reader.now()
    if now is None:
        raise Refused("the log is empty; come back after the first minute")
    lives, weeks = reader.lives(), reader.weeks()
    console = Console(width=None if sys.stdout.isatty() else 150)
    house = Table(Column("house battery", no_wrap=True), "from", "to", *history_words.HEADINGS)
    for one in compare_services(lives.of("house", now.vehicle), weeks):
        house.add_row(history_words.name(one.life), *_ends(one.life), *history_words.figures(one))
    console.print(house)
    starter = Table("starter battery", "from", "to")
    for life in lives.of("starter", now.vehicle):
        starter.add_row(history_words.name(life), *_ends(life))
    console.print(starter)


def _ends(life) -> tuple[str, str]:
    day = lambda utc_s, without: without if utc_s is None else datetime.fromtimestamp(utc_s).date().isoformat()  # noqa: E731
    return day(life.installed_utc_s, "before the log"), day(life.replaced_utc_s, "today")


def _label(text: str) -> str:
    from monitor.wear.battery_history import check_label

    try:
        return check_label(text)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint="--label") from None


def _day_utc_s(text: str | None) -> float | None:
    """UTC of a day (its local noon) or of a moment; None for none."""
    if text is None:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise click.BadParameter(f"{text[:30]!r} is not a day; write it as 2026-06-01", param_hint="the day") from None
    if len(text) <= 10:
        moment = moment.replace(hour=12)
    try:
        utc_s = moment.astimezone().timestamp()
    except (ValueError, OverflowError, OSError):  # at the ends of the calendar
        utc_s = 0.0
    if not 0 < utc_s <= time.time() + 43200:
        raise click.BadParameter(f"{text} is not a day that has been", param_hint="the day")
    return utc_s


@click.group(short_help="Calibrate an instrument.")
def calibrate() -> None:
    """Calibrations that need no tool. What they find is kept in the log and used from then on.

    A zero error of 0.1 A is 2.4 ampere-hours a day.
    """


@calibrate.command(short_help="Everything is off: what the shunt shows now is zero.")
@click.option("--minutes", default=2.0, show_default=True, type=click.FloatRange(0.5, 30),
              help="How long everything has been off.")
@config_option
@database_option
def zero(minutes: float, config_file: Path | None, database: Path | None) -> None:
    """Take what the house shunt shows over the last minutes as zero.

    Everything must be off, the solar charger too (cover the panel or open its fuse), for that long before you ask.
    """
    ask_daemon(locate_database(config_file, database), "calibrate_zero", minutes=minutes)


@calibrate.command(short_help="A steady load is on: compare the shunt with a meter.")
@click.option("--meter-a", "meter_a", required=True, help="Amperes by a clamp meter in the battery's lead, as displayed.")
@click.option("--minutes", default=0.5, show_default=True, type=click.FloatRange(0.1, 30), help="How long the load has been on and steady.")
@click.option("--meter-limit", "limit_pct", default=1.5, show_default=True, type=click.FloatRange(0, 20, min_open=True, max_open=True),
              help="The meter's limit of error in per cent, from its manual.")
@config_option
@database_option
def gain(meter_a: str, minutes: float, limit_pct: float, config_file: Path | None, database: Path | None) -> None:
    """Take what a meter shows, over what the house shunt shows over the last minutes, as the shunt's gain.

    Switch on a steady load of five amperes or more, with nothing charging. A poor meter is worse than none.
    """
    from monitor.commissioning.steps import NotClear, compare_reading

    try:
        meter = compare_reading(meter_a)
    except NotClear as error:
        raise click.BadParameter(str(error), param_hint="--meter-a") from None
    ask_daemon(locate_database(config_file, database), "calibrate_gain", meter_a=meter.value, digit_a=meter.digit,
               limit_frac=limit_pct / 100, minutes=minutes)


@calibrate.command(short_help="Compare a voltage with a multimeter.")
@click.option("--battery", "which", required=True, type=click.Choice(["house", "starter"]), help="Whose voltage.")
@click.option("--meter-v", "meter_v", required=True, help="Volts at its posts by the multimeter, as displayed.")
@click.option("--meter-limit", "limit_pct", default=0.5, show_default=True, type=click.FloatRange(0, 20, min_open=True, max_open=True),
              help="The meter's limit of error in per cent, from its manual.")
@config_option
@database_option
def divider(which: str, meter_v: str, limit_pct: float, config_file: Path | None, database: Path | None) -> None:
    """Let a voltage show what a multimeter shows at the posts, from the latest fifteen seconds.

    What is found is kept in the log beside the configuration, and ends when the configuration says something else of that channel.
    """
    from monitor.commissioning.steps import NotClear, compare_reading

    try:
        meter = compare_reading(meter_v)
    except NotClear as error:
        raise click.BadParameter(str(error), param_hint="--meter-v") from None
    ask_daemon(locate_database(config_file, database), "calibrate_divider", battery=which, meter_v=meter.value, digit_v=meter.digit,
               limit_frac=limit_pct / 100)


@calibrate.command(short_help="A load was switched on: does the current count the right way?")
@click.option("--charging", is_flag=True, help="A charger was switched on, not a load.")
@config_option
@database_option
def direction(charging: bool, config_file: Path | None, database: Path | None) -> None:
    """Turn the current round where it counts the wrong way: a load that was just switched on must make it fall.

    With every charger off, the sun too; ask some ten seconds after switching, and within three minutes.
    """
    ask_daemon(locate_database(config_file, database), "calibrate_direction", discharging=int(not charging))


@calibrate.command("batteries", short_help="The engine was started: which battery is which?")
@config_option
@database_option
def batteries(config_file: Path | None, database: Path | None) -> None:
    """Exchange the two voltages where they have changed places: the starter battery sags when the engine is cranked.

    Start the engine, let it run for half a minute, and ask within five minutes.
    """
    ask_daemon(locate_database(config_file, database), "identify_by_start")


@click.command(short_help="Learn everything again from the log.")
@config_option
@database_option
def relearn(config_file: Path | None, database: Path | None) -> None:
    """Have the daemon live through its log again and take over what it learns: charge, capacity, isolator, loads, health.

    It does so by itself after an upgrade that cannot read what was learnt before. Measuring goes on meanwhile;
    `ampledger status` and the page Now say how far it is.
    """
    ask_daemon(locate_database(config_file, database), "relearn")
