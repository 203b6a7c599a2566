"""ampledger doctor: is the log whole, the disk free, the clock known, the copy fresh, and what to do where not."""
import shutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from monitor.commands.doctor_network import find_network
from monitor.commands.finding import Finding
from monitor.commands.options import config_option, load_config
from monitor.process import card

MEGABYTE = 1_000_000
#: Less room than this is worth a word; the log grows by about a quarter of it a year.
LOW_DISK_BYTES = 400 * MEGABYTE
OLD_LOG_S, OLD_COPY_S = 600.0, 3 * 86400.0


@click.command(short_help="Look for trouble: log, disk, card, clock, sensors, copies, network.")
@config_option
@click.option("--no-sensors", is_flag=True, help="Do not read the sensors (a serial line may have one reader only).")
def doctor(config_file: Path | None, no_sensors: bool) -> None:
    """Look for trouble and say what to do: the log's file and every checksum in it, room on the disk, errors
    of the card in the kernel's log, the clock, the sensors, the latest copy, messages not delivered, the way
    from a phone to the pages.

    Changes nothing. Exit code 1 when something is WRONG.
    """
    config = load_config(config_file)
    found = [*_log(config.log.database), *_disk(config.log.database), *_card(config.log.database.parent), *_clock(), *_copies(config),
             *_spool(config.log.database),
             *find_network(config)]
    if not no_sensors:
        found += list(_sensors(config))
    for finding in found:
        colour = {"WRONG": "red", "LOOK": "yellow", "ok": "green"}.get(finding.verdict)
        click.echo(f"{click.style(f'{finding.verdict:<6}', fg=colour)}{finding.what}: {finding.said}")
        if finding.todo:
            click.echo(f"      {finding.todo}")
    if any(finding.verdict == "WRONG" for finding in found):
        sys.exit(1)


def _log(database: Path) -> Iterator[Finding]:
    from monitor.logbook.reader import Reader
    from monitor.store import backup
    from monitor.store.reading import NoLog

    try:
        now = Reader(database).now()
        proof = backup.prove(database)
    except (NoLog, backup.NotCopied) as error:
        yield Finding("log", "WRONG", str(error), "Start `ampledger run`; a damaged log is set aside and read out by it.")
        return
    yield Finding("log", "WRONG" if proof.damaged_hours else "ok",
                  f"{proof.minutes} minutes and {proof.hours_packed} packed hours, {database.stat().st_size / MEGABYTE:.1f} MB, "
                  + (f"{proof.damaged_hours} hours damaged" if proof.damaged_hours else "whole"),
                  "The card loses bits: copy the log (`ampledger backup`) and change the card." if proof.damaged_hours else "")
    for aside in sorted(database.parent.glob(f"{database.stem}.damaged-*{database.suffix}")):
        yield Finding("log", "LOOK", f"{aside.name} was set aside because it was damaged",
                      "What could be read is in the new log. Delete it when you miss nothing; a second one means: a new card.")
    if now is None:
        yield Finding("daemon", "LOOK", "nothing has been concluded yet", "It takes a minute after the first start.")
        return
    age_s = time.time() - now.utc_s
    written = "just now" if age_s < 90 else f"{age_s / 60:.0f} min ago"
    yield Finding("daemon", "LOOK" if age_s > OLD_LOG_S and not now.simulated else "ok",
                  f"the last minute was written {written}" + (" (simulated)" if now.simulated else ""),
                  "Is it running? systemctl status ampledger, journalctl -u ampledger" if age_s > OLD_LOG_S and not now.simulated else "")


def _disk(database: Path) -> Iterator[Finding]:
    from monitor.store import disk_reserve

    folder = database.parent
    if not folder.exists():
        return
    room = shutil.disk_usage(folder)
    low = room.free < LOW_DISK_BYTES
    yield Finding("disk", "LOOK" if low else "ok", f"{room.free / MEGABYTE:.0f} MB free in {folder}",
                  "Make room, or lower raw_days under [log]; a full disk thins the log by itself, oldest first." if low else "")
    if database.exists() and not disk_reserve.file_of(database).exists():
        yield Finding("ballast", "LOOK", "the file that is given up when the disk is full is not there",
                      f"It is made by itself when {(disk_reserve.ROOM_BYTES + disk_reserve.BALLAST_BYTES) / MEGABYTE:.0f} MB are free and "
                      "the daemon runs.")


def _card(folder: Path) -> Iterator[Finding]:
    """What the kernel says of the card."""
    if not folder.exists():
        return
    seen, lines = card.inspect_card(folder), card.find_complaints()
    if seen.read_only:
        yield Finding("card", "WRONG", f"{folder} is on a file system that is mounted read-only",
                      "The kernel does that after errors. Copy the log, then check the file system; most likely: a new card.")
    if seen.errors_count:
        yield Finding("card", "WRONG", f"the file system of {seen.device} has counted {seen.errors_count} errors",
                      "Copy the log (`ampledger backup`), check the file system from another computer, and think of a new card.")
    if seen.worn_tenths is not None:
        worn = seen.worn_tenths >= card.WORN_TENTHS
        yield Finding("card", "LOOK" if worn else "ok", f"{seen.device} says that it has used up to {10 * seen.worn_tenths} % of its life",
                      "Change it while it still works." if worn else "")
    if lines is None:
        yield Finding("card", "-", "the kernel's log cannot be read from here", "As root: dmesg --level err")
        return
    yield Finding("card", "WRONG" if lines else "ok",
                  f"{len(lines)} complaints in the kernel's log" if lines else "no storage errors",
                  f"The last one: {lines[-1]}. Copy the log and change the card." if lines else "")


def _clock() -> Iterator[Finding]:
    from monitor.clocks.board_clock import BoardClock

    trust = BoardClock(time.sleep).trust()
    yield Finding("clock", "ok" if trust.trusted else "LOOK", f"kept by {trust.source}" if trust.trusted else "not synchronised",
                  "" if trust.trusted else "Measuring does not need it; dates will be right once the board has seen network time, "
                  "or when you open the pages with a phone.")


def _copies(config: Any) -> Iterator[Finding]:
    folder = config.log.backup_to
    if folder is None:
        yield Finding("copies", "LOOK", "no nightly copy is configured", "Set backup_to under [log] to another card or stick.")
        return
    from monitor.process.copies import same_disk

    if not config.log.backup_on_same_card and same_disk(config.log.database, folder):
        yield Finding("copies", "WRONG", f"{folder} lies on the card that the log is on", "Is the stick plugged in and mounted?")
        return
    files = sorted(folder.glob("ampledger-*.db"), key=lambda file: file.stat().st_mtime) if folder.exists() else []
    if not files:
        yield Finding("copies", "WRONG", f"no copy in {folder}", "Is the stick there, and may the daemon write it?")
        return
    age_s = time.time() - files[-1].stat().st_mtime
    old = age_s > OLD_COPY_S
    yield Finding("copies", "LOOK" if old else "ok", f"{files[-1].name}, {age_s / 86400:.1f} days old",
                  "Is the stick there, and may the daemon write it?" if old else "")


def _spool(database: Path) -> Iterator[Finding]:
    from monitor.alerts.spool import Spool

    stuck = [item for item in Spool(database.parent / "undelivered.json").read() if item.tries]
    yield Finding("messages", "LOOK" if stuck else "ok", f"{len(stuck)} not delivered" if stuck else "none waiting",
                  f"The last reason: {stuck[-1].why}. Try `ampledger alerts test`." if stuck else "")


def _sensors(config: Any) -> Iterator[Finding]:
    from monitor.commands.check import rows_of

    for number, source in enumerate(config.sources, 1):
        for row in rows_of(source, f"source {number}, {source.driver}"):
            yield Finding(f"{row.source} {row.quantity}".strip(), row.verdict, row.shown, row.todo)
