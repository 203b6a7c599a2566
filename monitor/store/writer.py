"""The only writer of the log: a thread of its own, whole minutes in one transaction, and what to do when it cannot."""
import json
import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from monitor.findings import Condition, Event
from monitor.store import checksum, disk_reserve
from monitor.store.batch import Batch
from monitor.store.write_errors import classify_error, describe_error
from monitor.store.write_queue import WriteQueue

log = logging.getLogger("ampledger.store")

#: Damage stays an alert for so long after it was found [s].
DAMAGE_TOLD_S = 3 * 86400.0
#: What is run on the writer's own connection, and where its answer is put.
Job = tuple[Callable[[Any], Any], "Future[Any]"]
#: Pauses before the log is tried again [s]; the last one repeats.
PAUSES_S = (1.0, 5.0, 15.0, 60.0)


@dataclass(frozen=True, slots=True)
class Status:
    """How writing goes."""

    writing: bool = True
    why: str = ""
    commits: int = 0
    failures: int = 0
    dropped: int = 0
    last_commit_s: float = 0.0
    older: bool = False  # the log turned out to have a past that the daemon does not know: nothing is written into it


class Writer:
    """Takes batches at once and commits them when due. Never raises at the caller, never holds up a beat."""

    def __init__(self, database: Path, *, commit_s: float = 60.0, meta: dict[str, str] | None = None,
                 fresh: bool = False, pauses_s: tuple[float, ...] = PAUSES_S, ballast_bytes: int = disk_reserve.BALLAST_BYTES) -> None:
        self.database, self._commit_s, self._meta, self._pauses_s = database, commit_s, meta or {}, pauses_s
        self._ballast_bytes, self._fresh = ballast_bytes, fresh
        self._change = threading.Condition()
        self._pending, self._flush, self._hurry = WriteQueue(), False, True
        self._jobs: list[Job] = []
        self._status, self._stop, self._failed = Status(), False, 0
        self._log: Any = None  # an OpenLog while it is open
        self._damage: tuple[float, str] = (0.0, "")
        self._untidy = ""  # why packing and sealing fail, while they do
        self._device: int | None = None  # of the folder, since the log was open there
        self._unsure: tuple[int, tuple[Event, ...]] = (0, ())  # the last event before a commit that failed, and those in it
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Starts the thread, or starts it again where it ended."""
        if not self.alive():
            self._thread = threading.Thread(target=self._work, name="log writer", daemon=True)
            self._thread.start()

    def alive(self) -> bool:
        """Whether the thread still works."""
        return self._thread is not None and self._thread.is_alive()

    def offer(self, batch: Batch) -> None:
        """Takes a batch for the next commit; urgent ones are committed at once."""
        with self._change:
            self._pending.add(batch)
            if self._due():
                self._change.notify()

    def ask(self, job: Callable[[Any], Any]) -> "Future[Any]":
        """Runs a job on the writer's own connection, between commits. The connection is SQLAlchemy's."""
        future: Future[Any] = Future()
        with self._change:
            self._jobs.append((job, future))
            self._change.notify()
        return future

    def remember(self, name: str, value: str) -> None:
        """Keeps a word about the log as a whole: the vehicle, a calibration."""
        self._meta[name] = value
        self.ask(lambda c: c.exec_driver_sql(*checksum.meta_row(name, value)))

    def commit_every(self, commit_s: float, urgent: bool = True) -> None:
        """Another rhythm; with urgent False nothing hurries a commit (for a past that is lived through at once)."""
        with self._change:
            self._commit_s, self._hurry = commit_s, urgent

    def status(self) -> Status:
        """How writing goes."""
        return self._status

    def condition(self) -> Condition:
        """The one alert of the log: it cannot be written."""
        status = self._status
        return Condition(
            "log_not_writable", "vehicle", active=not status.writing, priority="high",
            seen="The log cannot be written." if not status.writing else "",
            means="Measuring and warning go on from memory; after a power cut what was not written would be missing.",
            look_first="See that the card has space and is not read-only (`ampledger doctor`); a worn card shows like this.",
            clears_when="It clears when writing succeeds; what waited in memory is then written.",
            on_delay_s=0.0, off_delay_s=0.0, evidence=f"The reason: {status.why}." if status.why else "")

    def salvage(self, why: str) -> "Future[Any]":
        """Has the log set aside and what can be read of it brought into a new one; the future ends when that is done."""
        done: Future[Any] = Future()

        def set_log_aside(_: Any) -> None:
            if not done.set_running_or_notify_cancel():
                return
            self._set_aside(why)
            done.set_result(None)

        self.ask(set_log_aside).add_done_callback(lambda job: done.set_exception(job.exception()) if job.exception() else None)
        return done

    def note_damage(self, words: str) -> None:
        """Records that something of the log was damaged and what is missing: an event, and an alert for some days."""
        self._tell("log_damaged", words)
        with self._change:
            at_s = self._latest_s()
        self._damage = (at_s, words)
        self.remember(checksum.DAMAGE, json.dumps(self._damage))

    def damage_condition(self, at_s: float) -> Condition:
        """The alert that something was damaged, for DAMAGE_TOLD_S after it was found."""
        found_s, words = self._damage
        return Condition(
            "log_damaged", "vehicle", active=bool(words) and at_s - found_s < DAMAGE_TOLD_S, priority="medium",
            seen="Part of the log was damaged." if words else "", evidence=words,
            means="What is missing is gone, or can be had from a copy (`ampledger restore`); everything else was verified by its checksum.",
            look_first="The card: `ampledger doctor`. Damage that comes again means a worn card or a poor supply.",
            clears_when="It clears after three days without further damage.")

    def flush(self, timeout_s: float = 10.0) -> bool:
        """Commits what is pending now; returns whether all of it was written in time."""
        until = time.monotonic() + timeout_s
        with self._change:
            self._flush = True
            self._change.notify()
            return self._change.wait_for(lambda: not self._pending and not self._flush, max(until - time.monotonic(), 0))

    def close(self, timeout_s: float = 10.0) -> bool:
        """Commits what is pending and ends; returns whether all of it was written."""
        written = self.flush(timeout_s) if self.alive() else not self._pending
        with self._change:
            self._stop = True
            self._change.notify()
        if self._thread is not None:
            self._thread.join(timeout_s)
        return written

    def _due(self) -> bool:
        return bool(self._pending) and (self._flush or (self._pending.urgent and self._hurry) or self._pending.span_s >= self._commit_s - 1)

    def _work(self) -> None:
        retry_at = 0.0
        try:
            while True:
                with self._change:
                    while not (self._stop or ((self._due() or self._jobs or self._log is None) and time.monotonic() >= retry_at)):
                        if self._flush and not self._pending:
                            self._flush = False
                            self._change.notify_all()
                        pause = retry_at - time.monotonic()
                        self._change.wait(max(pause, 0.01) if pause > 0 else None)
                    if self._stop:
                        return
                    due = self._due()
                    work = self._pending if due else WriteQueue()
                    if due:
                        self._pending = WriteQueue()
                    jobs, self._jobs = self._jobs, []
                try:
                    self._once(work, jobs)
                    retry_at = 0.0
                except Exception as error:
                    retry_at = time.monotonic() + self._trouble(error)
        finally:
            self._shut(orderly=self._stop and not self._pending)

    def _once(self, work: WriteQueue, jobs: list[Job]) -> None:
        """One commit, then the jobs. What is not written goes back in front of what came meanwhile."""
        try:
            if self._log is None:
                self._open()
            self._log.check_place()
            if work:
                started = time.perf_counter()
                self._unsure = (self._log.place.event_id, tuple(work.events))
                self._log.write(work)
                self._unsure = (0, ())
                self._note_commit(time.perf_counter() - started)
                work = WriteQueue()  # it is in; the packing that follows may fail without giving it back
                self._tidy()
        except BaseException:
            with self._change:
                work.absorb(self._pending)
                self._pending = work
                self._jobs = jobs + self._jobs
            raise
        with self._change:
            if self._flush and not self._pending:
                self._flush = False
                self._change.notify_all()
        for place, (job, future) in enumerate(jobs, 1):
            try:
                future.set_result(job(self._log.connection))
            except BaseException as error:  # the asker is told, and decides
                future.set_exception(error)
                if classify_error(error) != "ours":
                    with self._change:
                        self._jobs = jobs[place:] + self._jobs
                    self._shut()  # words about the log are said again when it is opened
                    raise

    def _tidy(self) -> None:
        """Packs and seals. Where that fails the rows are safe as they lie, and it is tried again after the next commit."""
        why = ""
        for _ in range(20):
            try:
                self._log.pack()
                why = ""
                break
            except Exception as error:
                kind, why = classify_error(error), describe_error(error)
                if kind == "damaged":
                    raise
                if kind == "ours":
                    log.error("the log could not be packed for a reason of our own", exc_info=error)
                if kind != "full" or not self._try_repair(kind, why):
                    break
        if why and not self._untidy:
            self._tell("log_not_packed", f"The log is written, but its older part could not be packed ({why}); it is tried again.")
        elif self._untidy and not why:
            self._tell("log_packed_again", "The older part of the log is packed again; nothing is lost.")
        self._untidy = why

    def _open(self) -> None:
        from monitor.store.open_log import OpenLog

        if self._device is not None and not self.database.exists() and _device(self.database.parent) != self._device:
            raise OSError("the card that the log was on is gone")  # a new log in its place would be on another one
        self._log = OpenLog(self.database, dict(self._meta))  # a copy: remember() adds to it from other threads
        self._device = _device(self.database.parent)
        self._drop_landed()
        if self._fresh and self._log.place.minute_ms is not None:
            self._status = replace(self._status, older=True)
            raise OSError("the log has a past that was not read at the start")
        self._fresh = False
        if not self._damage[1]:
            with suppress(ValueError, TypeError):
                self._damage = tuple(json.loads(self._log.meta(checksum.DAMAGE) or "null") or self._damage)
        disk_reserve.hold(self.database, self._ballast_bytes)

    def _drop_landed(self) -> None:
        """A commit of which the last step failed may be in the log all the same: its events are not written twice.

        Every other row has a key of its own.
        """
        (before, events), self._unsure = self._unsure, (0, ())
        if events and self._log.place.event_id >= before + len(events):
            landed = set(map(id, events))
            with self._change:
                self._pending.events = [event for event in self._pending.events if id(event) not in landed]

    def _note_commit(self, took_s: float) -> None:
        status, self._failed = self._status, 0
        self._status = Status(True, "", status.commits + 1, status.failures, status.dropped, took_s)
        if status.writing:
            return
        log.warning("the log is written again")
        disk_reserve.hold(self.database, self._ballast_bytes)
        lost = f"; {status.dropped} rows were too many to keep and are lost" if status.dropped else ", and nothing is lost"
        self._tell("log_written_again", f"The log could not be written for a time ({status.why}). What waited in memory "
                   f"is written now{lost}.")

    def _trouble(self, error: Exception) -> float:
        """Does what can be done about a failed write; returns the pause before the next try [s]."""
        kind, why = classify_error(error), describe_error(error)
        self._failed += 1
        try:
            if self._try_repair(kind, why):
                return 0.0
        except Exception as again:  # setting aside or making room failed too: the same disk
            why = f"{why}; {describe_error(again)}"
        if kind == "ours":
            log.error("the log could not be written for a reason of our own", exc_info=error)
        if kind != "busy":
            self._shut()
        status = self._status
        if status.writing:
            log.error("the log cannot be written: %s", why)
        self._status = replace(status, writing=False, why=why, failures=status.failures + 1,
                               dropped=status.dropped + self._pending.forget_dropped())
        return self._pauses_s[min(self._failed - 1, len(self._pauses_s) - 1)]

    def _try_repair(self, kind: str, why: str) -> bool:
        """Whether something was done that makes another try worth while at once."""
        if kind == "full" and disk_reserve.give_up(self.database):
            log.warning("the disk is full: the ballast of %d bytes is given up", self._ballast_bytes)
            return True
        if kind == "full" and self._log is not None and self._failed < 20:
            went = self._log.thin_in_need()
            if went:
                log.warning("the disk is full: %s were dropped from the log", went)
                self._tell("log_thinned", f"The disk is full: {went} were dropped from the log.")
            return bool(went)
        if kind == "damaged" and self._failed < 5:
            self._set_aside(why)
            return True
        if kind == "ours" and self._failed == 3:
            return self._drop_rows(why)
        return False

    def _set_aside(self, why: str) -> None:
        from monitor.store import salvage

        self._shut()
        self.note_damage(salvage.rescue(self.database, why))

    def _drop_rows(self, why: str) -> bool:
        """Rows that no log would take must not hold up alerts and state for ever."""
        with self._change:
            count = self._pending.drop_rows()
        if count:
            self._tell("rows_dropped", f"{count} rows could not be written ({why}) and were dropped; please report this.")
        return bool(count)

    def _tell(self, kind: str, message: str) -> None:
        with self._change:
            self._pending.add(Batch(events=(Event(self._latest_s(), kind, "vehicle", message),)))

    def _latest_s(self) -> float:
        return (self._pending.latest_ms or (self._log.place.minute_ms if self._log else 0) or 0) / 1000

    def _shut(self, orderly: bool = False) -> None:
        if self._log is not None:
            opened, self._log = self._log, None
            try:
                opened.close(orderly)
            except Exception as error:
                log.warning("closing the log: %s", describe_error(error))


def _device(folder: Path) -> int | None:
    try:
        return folder.stat().st_dev
    except OSError:
        return None
