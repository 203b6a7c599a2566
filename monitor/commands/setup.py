"""ampledger setup: from a blank board to a running configuration, by questions or without."""
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from monitor.commands.options import PAGES_PORT, USUAL, config_option

meter_option: Callable = click.option("--meter-limit", "limit_pct", type=click.FloatRange(0, 20, min_open=True),
                                      help="The multimeter's limit of error in per cent, from its manual. Default: 0.5 for volts, 1.5 for "
                                           "amperes.")
seconds_option: Callable = click.option("--seconds", default=5.0, show_default=True, type=click.FloatRange(0.3, 600),
                                        help="How long to measure.")


@click.group(invoke_without_command=True, short_help="Find what is there, ask a few questions, measure, write the configuration.")
@config_option
@click.option("--answers", "answers_file", type=click.Path(path_type=Path, dir_okay=False), help="A TOML file that answers instead of you.")
@click.option("--i2c", "i2c_bus", type=click.IntRange(0), help="First ask every address of this I2C bus. This can disturb some chips.")
@click.option("--modbus", default="", metavar="WHERE", help="Also ask this Modbus device: its address, as 192.168.1.50, or serial port.")
@click.option("--meter-limit", "limit_pct", type=click.FloatRange(0, 20, min_open=True),
              help="The multimeter's limit of error in per cent. Default: 0.5 for volts, 1.5 for amperes.")
@seconds_option
@click.option("--phone", is_flag=True, help="Ask on a phone: serves pages for it, and prints their address and an access code.")
@click.option("--port", default=PAGES_PORT, show_default=True, type=click.IntRange(1, 65535), help="Of the pages for the phone.")
@click.option("--patience", "patience_s", default=3600.0, hidden=True, type=click.FloatRange(1))
@click.option("--code-file", hidden=True, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--leave", hidden=True, type=click.Path(path_type=Path, file_okay=False))
@click.option("--sys", "sys_folder", default=Path("/sys"), hidden=True, type=click.Path(path_type=Path))
@click.option("--dev", "dev_folder", default=Path("/dev"), hidden=True, type=click.Path(path_type=Path))
@click.pass_context
def setup(ctx: click.Context, config_file: Path | None, answers_file: Path | None, i2c_bus: int | None, modbus: str,
          limit_pct: float | None, seconds: float, phone: bool, port: int, patience_s: float, code_file: Path | None, leave: Path | None,
          sys_folder: Path, dev_folder: Path) -> None:
    """Put this board into service: find the instruments, ask at most fifteen questions, measure, and write ampledger.toml.

    It shows what each channel reads, then walks through which battery is which (start the engine), the shunt's
    zero (everything off), both voltages (a multimeter), which way the current counts and its gain (a load on),
    and what the voltage's lead loses. Every measuring step may be skipped and done later by the commands below.
    Nothing is written before the last question; a configuration that is there is kept beside the new one.

    With --phone the same questions stand on pages for a phone, live readings beside each; they need the code that is
    printed here. With --answers nothing is asked: the file holds an answer under each key (`ampledger docs commissioning`).
    Stop the daemon first where it holds a serial port: systemctl stop ampledger
    """
    if ctx.invoked_subcommand is not None:
        return
    from monitor.cli import Refused
    from monitor.commands.setup_phone import OFFERED, answers_place, finish_board, save_answers
    from monitor.commissioning.interview import KEYS, Interview
    from monitor.commissioning.questions import AnswersFile, Recorded, Terminal, read_answers
    from monitor.commissioning.steps import NotClear
    from monitor.process.board_services import start_services

    path = config_file or _place()
    limits: dict[str, Any] = {} if limit_pct is None else {"meter_v_frac": limit_pct / 100, "meter_a_frac": limit_pct / 100}
    database = str(Path("/var/lib/ampledger/ampledger.db")) if path.is_relative_to("/etc") else "ampledger.db"

    def interview(asker: Any) -> Interview:
        return Interview(asker, path, seconds, sys_folder, dev_folder, show=_show, database=database, modbus=modbus, **limits)

    if phone:
        from monitor.commands.setup_phone import host

        host(lambda asker: interview(asker).all(_before(path)), path, port, code_file, patience_s, leave)
        return
    asker = Recorded(AnswersFile(answers_file, KEYS) if answers_file else Terminal(),
                     {} if answers_file else read_answers(answers_place(path)), OFFERED)
    walk = interview(asker)
    walk.asker.say("Read `ampledger docs wiring` before you touch a cable: a 12 V battery can weld a spanner. Ctrl-C ends this, and "
                   "nothing is written.")
    if path.exists():
        walk.asker.say(f"{path} is there already; it will be kept beside the new one, and what it says beside labels, instruments "
                       "and measurements goes on.")
    if i2c_bus is not None:
        _i2c(i2c_bus)
    try:
        draft = walk.all(_before(path))
        board = finish_board(path, None)
        _write(draft, "" if board else "Next: ampledger check, then ampledger run.")
        save_answers(asker.given, path)
        if board:
            click.echo(start_services())
            click.echo("See that every sensor answers: sudo ampledger check\nTo see it on a phone: sudo ampledger pages open")
    except NotClear as why:
        raise Refused(f"{why}. Nothing was written.") from None
    except (click.Abort, KeyboardInterrupt):
        raise Refused("ended; nothing was written") from None


def _place() -> Path:
    """Where the configuration goes that nobody named: the board's own place where it exists, else here."""
    board = USUAL[1]
    return board if board.exists() or board.parent.is_dir() and not USUAL[0].exists() else USUAL[0]


def _before(path: Path) -> Any:
    """The configuration that is there, if it is sound."""
    from monitor.commissioning import document
    from monitor.config.faults import ConfigError

    try:
        return document.read(path) if path.exists() else None
    except ConfigError as error:
        click.echo(f"It is not sound, so nothing of it goes on:\n{error}")
        return None


def _write(draft: Any, then: str = "") -> None:
    from monitor.commissioning import document

    kept = document.write(draft.doc, draft.path)
    click.echo(f"\nWritten: {draft.path}." + (f" The one before is kept as {kept.name}." if kept else "") + (f" {then}" if then else ""))


def _i2c(bus: int) -> None:
    """Who answers on a bus; how to read it is for the configuration to say."""
    from drivers import driver_class

    driver_class("i2c")  # says what is missing
    from drivers.i2c import addresses

    found = addresses(bus)
    for address, state in found.items():
        click.echo(f"I2C bus {bus}, address {address:#04x}: {state}" + (
            "; better read through hwmon or iio below" if state != "free"
            else "; `ampledger docs drivers`, i2c, says how to describe its registers"))
    if not found:
        click.echo(f"I2C bus {bus}: nobody answers")


def _show(_words: str) -> Callable[[dict[str, float]], None]:
    """Live readings on one line of a terminal."""
    if not sys.stdout.isatty():
        return lambda _: None
    due_s = [0.0]

    def show(values: dict[str, float]) -> None:
        if time.monotonic() >= due_s[0]:
            due_s[0] = time.monotonic() + 0.25
            line = "   ".join(f"{name} {value:.3f}" for name, value in values.items() if name != "at_s")
            click.echo(f"\r  {line[:100]:<100}\r", nl=False)

    return show


def _step(config_file: Path | None, seconds: float, quantities: tuple[str, ...], do: Callable[[Any, list], str],
          until: Callable[[list], bool] = lambda _: False) -> None:
    """One measuring step on the configuration that is there."""
    from monitor.cli import Refused
    from monitor.commissioning import document, measuring
    from monitor.commissioning.results import Draft
    from monitor.commissioning.steps import NotClear

    path = config_file or next((place for place in USUAL if place.exists()), USUAL[0])
    draft = Draft(document.read(path), path)
    try:
        rows = measuring.watch(draft.doc, path, seconds, quantities, until, _show("")) if quantities else []
        said = do(draft, rows)
    except NotClear as why:
        raise Refused(f"{why}. Nothing was changed.") from None
    click.echo(said)
    _write(draft, "A running daemon takes it up when it is started again: systemctl restart ampledger")


def _reading_of(rows: list, quantity: str) -> Any:
    from monitor.commissioning import steps

    return steps.show_reading([row[quantity] for row in rows])


@setup.command(short_help="Everything is off: what the shunt shows now is zero.")
@config_option
@seconds_option
def zero(config_file: Path | None, seconds: float) -> None:
    """Measure the shunt's zero with everything off, and write it into the configuration with its doubt and date.

    This board itself is a load that stays on: what it draws ([board] in the configuration) is not part of the zero.

    `ampledger calibrate zero` does the same from a running daemon's log; a zero that is written here later takes its place.
    """
    _step(config_file, seconds, ("house_current_a",), lambda draft, rows: draft.zero(_reading_of(rows, "house_current_a")))


@setup.command(short_help="A load is on: does the current count the right way?")
@config_option
@seconds_option
@click.option("--charging", is_flag=True, help="A charger is on, not a load.")
def direction(config_file: Path | None, seconds: float, charging: bool) -> None:
    """Turn the current round where it counts the wrong way: with a load on (and nothing charging) it must be negative."""
    _step(config_file, seconds, ("house_current_a",), lambda draft, rows: draft.direction(
        _reading_of(rows, "house_current_a").mean, None, discharging=not charging))


@setup.command(short_help="Compare the current with a multimeter.")
@config_option
@seconds_option
@click.option("--meter-a", "meter_a", required=True, help="Amperes by the multimeter, as displayed, while the load is on.")
@meter_option
def gain(config_file: Path | None, seconds: float, meter_a: str, limit_pct: float | None) -> None:
    """Measure the shunt's gain: switch on a steady load of five amperes or more and read a meter in the same lead."""
    from monitor.commissioning import steps

    limit = steps.METER_A_FRAC if limit_pct is None else limit_pct / 100
    _step(config_file, seconds, ("house_current_a",),
          lambda draft, rows: draft.gain(steps.compare_reading(meter_a), _reading_of(rows, "house_current_a"), limit))


@setup.command(short_help="Compare a voltage with a multimeter.")
@config_option
@seconds_option
@click.option("--battery", required=True, type=click.Choice(["house", "starter"]), help="Whose voltage.")
@click.option("--meter-v", "meter_v", required=True, help="Volts at its posts by the multimeter, as displayed.")
@meter_option
def divider(config_file: Path | None, seconds: float, battery: str, meter_v: str, limit_pct: float | None) -> None:
    """Set the ratio of a voltage's divider so that it shows what a multimeter shows at the posts."""
    from monitor.commissioning import steps

    limit = steps.METER_V_FRAC if limit_pct is None else limit_pct / 100
    quantity = f"{battery}_voltage_v"
    _step(config_file, seconds, (quantity,),
          lambda draft, rows: draft.voltage(quantity, steps.compare_reading(meter_v), _reading_of(rows, quantity), limit))


@setup.command("cable-drop", short_help="What does the voltage's lead lose under load?")
@config_option
@seconds_option
@click.option("--meter-v", "meter_v", required=True, help="Volts at the house battery's posts by the multimeter, while the load is on.")
def cable_drop(config_file: Path | None, seconds: float, meter_v: str) -> None:
    """Find a voltage lead that is shared with a load or has a bad joint. First compare the voltage with everything off (divider)."""
    from monitor.commissioning import steps

    _step(config_file, seconds, ("house_voltage_v", "house_current_a"), lambda draft, rows: draft.lead(
        steps.compare_reading(meter_v), _reading_of(rows, "house_voltage_v"), _reading_of(rows, "house_current_a")))


@setup.command(short_help="Which battery is which, from a start of the engine.")
@config_option
@click.option("--from-log", is_flag=True, help="Look in the log instead of waiting for a start.")
@click.option("--days", default=7.0, show_default=True, type=click.FloatRange(0, 400, min_open=True), help="How far back in the log.")
@click.option("--wait", "seconds", default=90.0, show_default=True, type=click.FloatRange(2, 600), help="Seconds to wait for a start.")
def which(config_file: Path | None, from_log: bool, days: float, seconds: float) -> None:
    """Exchange the two voltages where they have changed places: the starter battery sags when the engine is cranked, and is lifted first.

    Start the engine three seconds after this has begun, or take the drives that are in the log.
    """
    from monitor.commissioning import identify_batteries as starts
    from monitor.commissioning.interview import begin_interview

    def live(draft: Any, rows: list) -> str:
        verdict = starts.identify_batteries([(r["at_s"], r["house_voltage_v"], r["starter_voltage_v"]) for r in rows])
        return draft.exchange(verdict.first_starts, verdict.seen)

    def identify_from_log(draft: Any, _rows: list) -> str:
        verdict = starts.from_log(_log_rows(config_file, days))
        return draft.exchange(verdict.first_starts, verdict.seen)

    if from_log:
        _step(config_file, 0.0, (), identify_from_log)
    else:
        _step(config_file, seconds, ("house_voltage_v", "starter_voltage_v"), live, begin_interview)


def _log_rows(config_file: Path | None, days: float) -> Any:
    from monitor.commands.options import locate_database
    from monitor.logbook.reader import Reader

    reader = Reader(locate_database(config_file, None))
    span = reader.span()
    for utc_s, sample in reader.rows(span[1] - 86400 * days, 1e12) if span else ():
        if sample.house_voltage_v is not None and sample.starter_voltage_v is not None:
            yield utc_s, sample.house_voltage_v, sample.starter_voltage_v, sample.house_current_a
