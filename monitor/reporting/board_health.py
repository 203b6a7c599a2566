"""Health of the board as the log and the system tell it without a question to anybody: copies, checks, room, card, clock, messages."""
import os
import shutil
from collections.abc import Callable
from pathlib import Path

from monitor.alerts.spool import Spool
from monitor.logbook.reader import Reader
from monitor.parameters import table
from monitor.reporting.health_row import MEGABYTE, HealthRow
from monitor.reporting.sentences import span
from monitor.store import card
from monitor.store.self_watch import CHECK, COPY, CUTS_S, LATE_S, THINNING, Job, SelfWatch

_P = table("reporting", "board_health")
LOW_ROOM_BYTES, OLD_LOG_S, CUTS_LOOK = _P.number("low_room_bytes"), _P.number("old_log_s"), _P.count("cuts_look_count")


def inspect_board(database: Path, when: Callable[[float], str], root: Path = Path("/")) -> list[HealthRow]:
    """All lines, for a process that can read the log and nothing else. What cannot be told from here is left out.

    database : the log; when : a moment of the log's own line of time in words; root : of the system's files

    Raises
    ------
    NoLog, sqlite3.Error, OSError : the log cannot be read
    """
    reader = Reader(database)
    now = reader.now()
    watch = SelfWatch(reader.meta("self_watch")).state
    jobs = {job.name: job for job in watch.jobs}
    at_s = now.at_s if now else 0.0
    rows = [inspect_figures(reader.age_s(now) if now else None, bool(now and now.simulated)), _check(jobs.get(CHECK), when),
            _copy(jobs.get(COPY), at_s, when)]
    if (thinning := jobs.get(THINNING)) is not None and thinning.why:
        rows.append(HealthRow("Old readings", "look", f"could not be thinned: {thinning.why}", "The log grows until it works again."))
    rows.append(inspect_room(database))
    rows += inspect_card(database.parent, root)
    cuts = sum(at_s - moment < CUTS_S for moment in watch.cuts_s)
    many = cuts >= CUTS_LOOK
    rows.append(HealthRow("Power cuts", "look" if many else "ok", f"{cuts} in a week" if cuts else "none in a week",
                          "Look at the board's feed: does it sag when the engine starts, is a plug or fuse loose?" if many else ""))
    rows += inspect_messages(database)
    return rows


def inspect_figures(age_s: float | None, simulated: bool) -> HealthRow:
    """Whether minutes are written. age_s: of the latest [s], None where there is none; simulated: then its age says nothing."""
    if age_s is None:
        return HealthRow("Measuring", "look", "nothing has been concluded yet", "It takes a minute after the first start.")
    old = age_s > OLD_LOG_S and not simulated
    return HealthRow("Measuring", "look" if old else "ok", f"last minute written {'just now' if age_s < 120 else span(age_s) + ' ago'}"
                     if not simulated else "simulated", "Is the board's clock right, and does the monitor run? `systemctl status ampledger`"
                     if old else "")


def _check(job: Job | None, when: Callable[[float], str]) -> HealthRow:
    if job is None:
        return HealthRow("Nightly check", "ok", "not run yet", "It reads the whole log once a night.")
    if job.why:
        return HealthRow("Nightly check", "wrong", f"failed: {job.why}", "Copy the log, think of a new card; `ampledger doctor` says more.")
    return HealthRow("Nightly check", "ok", f"the log is whole, {when(job.well_s)}")


def _copy(job: Job | None, at_s: float, when: Callable[[float], str]) -> HealthRow:
    if job is None:
        return HealthRow("Last copy", "look", "none so far",
                         "A card can die any day: set `backup_to` under [log] to a stick or another card.")
    if job.why:
        return HealthRow("Last copy", "wrong", f"failed: {job.why}", "Is the stick plugged in and mounted, with room?")
    late = at_s - job.well_s > LATE_S
    return HealthRow("Last copy", "look" if late else "ok", when(job.well_s), "Is the board on at night, or long enough after a start?"
                     if late else "")


def inspect_room(database: Path) -> HealthRow:
    """Room where the log is. Raises OSError."""
    room = shutil.disk_usage(database.parent)
    low = room.free < LOW_ROOM_BYTES
    free = f"{room.free / 1e9:.1f} GB free" if room.free >= 1e9 else f"{room.free / MEGABYTE:.0f} MB free"
    return HealthRow("Room on the card", "look" if low else "ok", free,
                     "Make room, or lower `raw_days` under [log]; a full card thins the log by itself, oldest first." if low else "")


def inspect_card(folder: Path, root: Path = Path("/")) -> list[HealthRow]:
    """What the kernel and the card itself say. folder: on it; root: of the system's files. Raises OSError."""
    seen = card.inspect_card(folder, root)
    if seen.read_only:
        return [HealthRow("Card", "wrong", "mounted read-only",
                          "The kernel does that after errors. Copy the log; most likely: a new card.")]
    if seen.errors_count:
        return [HealthRow("Card", "wrong", f"its file system has counted {seen.errors_count} errors",
                          "Copy the log, check the file system from another computer, and think of a new card.")]
    if seen.worn_tenths is not None:
        worn = seen.worn_tenths >= card.WORN_TENTHS
        return [HealthRow("Card", "look" if worn else "ok", f"has used up to {10 * seen.worn_tenths} % of its life",
                          "Change it while it still works." if worn else "")]
    return [HealthRow("Card", "ok", "no errors counted")] if seen.errors_count == 0 else []


def inspect_messages(database: Path) -> list[HealthRow]:
    """Alerts that did not go out; nothing where that may not be read."""
    file = database.parent / "undelivered.json"
    if file.exists() and not os.access(file, os.R_OK):
        return []
    stuck = [item for item in Spool(file).read() if item.tries]
    if not stuck:
        return [HealthRow("Messages", "ok", "none waiting")]
    return [HealthRow("Messages", "look", f"{len(stuck)} not delivered by {', '.join(sorted({item.channel for item in stuck}))}",
                      f"The last reason: {stuck[-1].why}. Is there a network?")]
