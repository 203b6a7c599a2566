"""What may be wrong with file, disk, clock, card and daemon: each check a row that says what to do."""
import os
import sqlite3
import stat
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from monitor.clock import Clock
from monitor.store import backup, ballast, lock, migrate
from monitor.store.reader import NoLog, Reader

#: Below so much room on the card something should be done soon.
LITTLE_ROOM_BYTES = 200 * 1024 * 1024
#: A log that has not grown for so long, while the daemon runs, is stuck.
STUCK_S = 600.0
#: A copy older than this no longer counts as one.
OLD_COPY_S = 3 * 86400.0


@dataclass(frozen=True, slots=True)
class Row:
    """One check: what was looked at, how it is, and what to do where it is not well."""

    name: str
    verdict: Literal["ok", "LOOK", "WRONG"]
    seen: str
    todo: str = ""


def examine(database: Path, clock: Clock, backup_to: Path | None = None, *, thorough: bool = True,
            kernel_log: Path | None = None) -> list[Row]:
    """Every check of a log and the machine under it; sensors are `ampledger check`'s business.

    thorough=False leaves out reading the whole file. kernel_log: a file in place of the kernel's own.
    """
    rows = [_room(database), _daemon(database), _clock(clock)]
    rows += _file(database, thorough) if database.exists() else [Row("log", "LOOK", f"{database} does not exist yet",
                                                                    "start the daemon: systemctl start ampledger")]
    rows += [_copies(backup_to), _card(kernel_log)]
    rows += [_aside(database)] if _set_aside(database) else []
    return rows


def _room(database: Path) -> Row:
    try:
        free = ballast.free_bytes(database)
    except OSError as error:
        return Row("disk", "WRONG", f"{database.parent}: {error.strerror}", "see that the folder exists and is mounted")
    words = f"{free / 1e6:.0f} MB free in {database.parent}"
    if os.statvfs(database.parent).f_flag & os.ST_RDONLY:
        return Row("disk", "WRONG", f"{database.parent} is mounted read-only",
                   "a card that turns read-only is failing: copy what is on it, and put in a new one")
    if free < LITTLE_ROOM_BYTES:
        return Row("disk", "LOOK", words, "delete what is not needed, or lower raw_days under [log]")
    if not ballast.file_of(database).exists() and database.exists():
        return Row("disk", "LOOK", f"{words}, but the ballast is gone: the disk was full not long ago", "it is made again by itself")
    return Row("disk", "ok", words)


def _daemon(database: Path) -> Row:
    with lock.held(database) as free:
        if free:
            return Row("daemon", "LOOK", "no daemon is writing this log", "systemctl start ampledger, or `ampledger run`")
    try:
        now = Reader(database).now()
    except (NoLog, sqlite3.Error):
        now = None
    if now is None:
        return Row("daemon", "LOOK", "runs, and has not written its first minute yet", "wait two minutes; then see journalctl -u ampledger")
    age_s = time.time() - now.utc_s
    if now.utc_trusted and not now.simulated and age_s > STUCK_S:
        return Row("daemon", "WRONG", f"runs, but the latest minute is {age_s / 60:.0f} minutes old", "journalctl -u ampledger says why")
    return Row("daemon", "ok", "runs and writes")


def _clock(clock: Clock) -> Row:
    trust = clock.trust()
    if trust.trusted:
        return Row("clock", "ok", f"kept by {trust.source}, to about {max(trust.sigma_s, 0.1):.1f} s")
    return Row("clock", "LOOK", "nobody vouches for the clock: dates may be wrong, and after each boot the length of the silence "
               "is not known", "open the page on a phone, give it a network now and then, or fit a clock chip with a battery")


def _file(database: Path, thorough: bool) -> list[Row]:
    try:
        with closing(sqlite3.connect(f"{database.resolve().as_uri()}?mode=ro", uri=True)) as log:
            version = migrate.version_of(log)
    except sqlite3.Error as error:
        return [Row("log", "WRONG", f"{database}: {error}", "start the daemon: it sets a damaged log aside and saves what can be read")]
    if version is not None and version > migrate.HEAD:
        return [Row("log", "WRONG", str(migrate.NewerLog(str(database), version)), "")]
    if not thorough:
        return [Row("log", "ok", f"opens, {database.stat().st_size / 1e6:.1f} MB")]
    try:
        proof = backup.prove(database)
    except backup.NotCopied as error:
        return [Row("log", "WRONG", str(error), "restart the daemon: it sets a damaged log aside and saves what can be read")]
    if proof.damaged_hours:
        return [Row("log", "WRONG", f"{proof.damaged_hours} of {proof.hours_packed} packed hours are damaged; the rest is sound",
                    "the card is worn: make a backup and put in a new one")]
    return [Row("log", "ok", f"sound: {proof.minutes} minutes, {proof.hours_packed} packed hours, {database.stat().st_size / 1e6:.1f} MB")]


def _copies(folder: Path | None) -> Row:
    if folder is None:
        return Row("backup", "LOOK", "no nightly copy is configured", 'write backup_to = "…" under [log], on another card or stick')
    copies = sorted(folder.glob("ampledger-*.db")) if folder.is_dir() else []
    if not copies:
        return Row("backup", "WRONG", f"no copy in {folder}", "is the stick plugged in and mounted, and may the daemon's user write there?")
    age_s = time.time() - copies[-1].stat().st_mtime
    if age_s > OLD_COPY_S:
        return Row("backup", "LOOK", f"the latest copy, {copies[-1].name}, is {age_s / 86400:.0f} days old", "is the stick still mounted?")
    return Row("backup", "ok", f"{copies[-1].name}")


def _card(kernel_log: Path | None) -> Row:
    lines = _kernel_lines(kernel_log)
    if lines is None:
        return Row("card", "LOOK", "the kernel's log may not be read by this user", "try again as root, or look into `dmesg` yourself")
    bad = [line for line in lines if any(word in line for word in
           ("I/O error", "mmc0: error", "mmc1: error", "Remounting filesystem read-only", "EXT4-fs error", "critical medium error"))]
    if bad:
        return Row("card", "WRONG", f"{len(bad)} errors in the kernel's log; the latest: {bad[-1].strip()[:140]}",
                   "make a backup and put in a new card")
    return Row("card", "ok", "no errors of a disk in the kernel's log")


def _kernel_lines(file: Path | None) -> list[str] | None:
    if file is not None:
        return file.read_text(errors="replace").splitlines()
    try:
        kernel = os.open("/dev/kmsg", os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        return None
    lines = []
    try:
        if not stat.S_ISCHR(os.fstat(kernel).st_mode):
            return None
        while len(lines) < 100_000:
            lines.append(os.read(kernel, 8192).decode(errors="replace"))
    except BlockingIOError:
        pass
    except OSError:
        return lines or None
    finally:
        os.close(kernel)
    return lines


def _set_aside(database: Path) -> list[Path]:
    return sorted(database.parent.glob(f"{database.stem}.damaged-*{database.suffix}"))


def _aside(database: Path) -> Row:
    files = _set_aside(database)
    return Row("set aside", "LOOK", f"{', '.join(f.name for f in files)} in {database.parent}",
               "what could be read of it is in the log; delete it when you no longer want it looked into")
