"""ampledger doctor: is the log whole, the disk free, the clock known, the copy fresh, and what to do where not."""
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from monitor.commands.doctor_network import find_network
from monitor.commands.options import config_option, load_config
from monitor.reporting.health_row import MEGABYTE, HealthRow, Verdict
from monitor.store import card

#: verdict -> how it is shown, and in which colour
SHOWN: dict[str, tuple[str, str | None]] = {"wrong": ("WRONG", "red"), "look": ("LOOK", "yellow"), "ok": ("ok", "green"), "-": ("-", None)}


@click.command(short_help="Look for trouble: log, disk, card, clock, sensors, copies, network.")
@config_option
@click.option("--no-sensors", is_flag=True, help="Do not read the sensors (a serial line may have one reader only).")
def doctor(config_file: Path | None, no_sensors: bool) -> None:
    """Look for trouble and say what to do: the log's file and every checksum in it, room on the disk, errors
    of the card in the kernel's log, the clock, the sensors, the latest copy, messages not delivered, the way
    from a phone to the pages.

    Changes nothing. Exit code 1 when something is WRONG.
    """
    from monitor.reporting import board_health

    config = load_config(config_file)
    database = config.log.database
    found = [*_log(database), *_room(database), *_card(database.parent), *_clock(), *_copies(config),
             *board_health.inspect_messages(database), *find_network(config)]
    if not no_sensors:
        found += list(_sensors(config))
    for finding in found:
        word, colour = SHOWN[finding.verdict]
        click.echo(f"{click.style(f'{word:<6}', fg=colour)}{finding.what}: {finding.said}")
        if finding.todo:
            click.echo(f"      {finding.todo}")
    if any(finding.verdict == "wrong" for finding in found):
        sys.exit(1)


def _log(database: Path) -> Iterator[HealthRow]:
    from monitor.logbook.reader import Reader
    from monitor.reporting import board_health
    from monitor.store import backup
    from monitor.store.reading import NoLog

    try:
        reader = Reader(database)
        now = reader.now()
        proof = backup.prove(database)
    except (NoLog, backup.NotCopied) as error:
        yield HealthRow("Log", "wrong", str(error), "Start `ampledger run`; a damaged log is set aside and read out by it.")
        return
    yield HealthRow("Log", "wrong" if proof.damaged_hours else "ok",
                  f"{proof.minutes} minutes and {proof.hours_packed} packed hours, {database.stat().st_size / MEGABYTE:.1f} MB, "
                  + (f"{proof.damaged_hours} hours damaged" if proof.damaged_hours else "whole"),
                  "The card loses bits: copy the log (`ampledger backup`) and change the card." if proof.damaged_hours else "")
    for aside in sorted(database.parent.glob(f"{database.stem}.damaged-*{database.suffix}")):
        yield HealthRow("Log", "look", f"{aside.name} was set aside because it was damaged",
                      "What could be read is in the new log. Delete it when you miss nothing; a second one means: a new card.")
    yield board_health.inspect_figures(reader.age_s(now) if now else None, bool(now and now.simulated))


def _room(database: Path) -> Iterator[HealthRow]:
    from monitor.reporting import board_health
    from monitor.store import disk_reserve

    if not database.parent.exists():
        return
    yield board_health.inspect_room(database)
    if database.exists() and not disk_reserve.file_of(database).exists():
        yield HealthRow("Ballast", "look", "the file that is given up when the disk is full is not there",
                      f"It is made by itself when {(disk_reserve.ROOM_BYTES + disk_reserve.BALLAST_BYTES) / MEGABYTE:.0f} MB are free and "
                      "the daemon runs.")


def _card(folder: Path) -> Iterator[HealthRow]:
    """What the kernel says of the card."""
    from monitor.reporting import board_health

    if not folder.exists():
        return
    yield from board_health.inspect_card(folder)
    lines = card.find_complaints()
    if lines is None:
        yield HealthRow("Card", "-", "the kernel's log cannot be read from here", "As root: dmesg --level err")
        return
    yield HealthRow("Card", "wrong" if lines else "ok",
                  f"{len(lines)} complaints in the kernel's log" if lines else "no storage errors",
                  f"The last one: {lines[-1]}. Copy the log and change the card." if lines else "")


def _clock() -> Iterator[HealthRow]:
    from monitor.clocks.board_clock import BoardClock

    trust = BoardClock(time.sleep).trust()
    yield HealthRow("Clock", "ok" if trust.trusted else "look", f"kept by {trust.source}" if trust.trusted else "not synchronised",
                  "" if trust.trusted else "Measuring does not need it; dates will be right once the board has seen network time, "
                  "or when you open the pages with a phone.")


def _copies(config: Any) -> Iterator[HealthRow]:
    folder = config.log.backup_to
    if folder is None:
        yield HealthRow("Copies", "look", "no nightly copy is configured", "Set backup_to under [log] to another card or stick.")
        return
    from monitor.process.copies import same_disk
    from monitor.store.self_watch import LATE_S

    if not config.log.backup_on_same_card and same_disk(config.log.database, folder):
        yield HealthRow("Copies", "wrong", f"{folder} lies on the card that the log is on", "Is the stick plugged in and mounted?")
        return
    files = sorted(folder.glob("ampledger-*.db"), key=lambda file: file.stat().st_mtime) if folder.exists() else []
    if not files:
        yield HealthRow("Copies", "wrong", f"no copy in {folder}", "Is the stick there, and may the daemon write it?")
        return
    age_s = time.time() - files[-1].stat().st_mtime
    old = age_s > LATE_S
    yield HealthRow("Copies", "look" if old else "ok", f"{files[-1].name}, {age_s / 86400:.1f} days old",
                  "Is the stick there, and may the daemon write it?" if old else "")


def _sensors(config: Any) -> Iterator[HealthRow]:
    from monitor.commands.check import rows_of

    verdicts: dict[str, Verdict] = {"WRONG": "wrong", "LOOK": "look", "ok": "ok", "": "look"}
    for number, source in enumerate(config.sources, 1):
        for row in rows_of(source, f"source {number}, {source.driver}", config.unknown_dividers):
            yield HealthRow(f"{row.source} {row.quantity}".strip(), verdicts[row.verdict], row.shown, row.todo)
