"""By the calendar: drop what is too old, check and copy the log. The only file that knows APScheduler."""
import logging
import threading
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as TooLate
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Any

from monitor.process import copies
from monitor.store import backup, check, mending, past, thinning
from monitor.store.self_watch import CHECK, COPY, THINNING, SelfWatch
from monitor.store.writer import Writer

log = logging.getLogger("ampledger.chores")

#: In the small hours, local time, when the vehicle sleeps.
NIGHT_HOUR, NIGHT_MINUTE = 3, 20
#: A job of the night that takes longer hangs (choice: sealing a day takes seconds, a check of years minutes).
JOB_TIMEOUT_S = 600.0
#: After so long without a night's work it is done at once.
OVERDUE_S = 26 * 3600.0
#: The scheduler's own thread begins, and ends, within this; else it is looked at again a minute later [s].
STARTS_WITHIN_S = 5.0


class Maintenance:
    """Jobs of the night. tell(kind, message) records an event.

    APScheduler decides by the wall clock, so nothing that measures hangs on it, and everything is armed
    anew when that clock is set. A night that was slept through is made up for once.
    """

    def __init__(self, writer: Writer, database: Path, *, raw_days: int, backup_to: Path | None,
                 tell: Callable[[str, str], None], same_card: bool = False, watch: SelfWatch | None = None) -> None:
        self._database, self._raw_days, self._backup_to, self._tell, self._same_card = database, raw_days, backup_to, tell, same_card
        self.serve(writer, watch or SelfWatch(None))
        self._scheduler: Any = None
        self._thread: threading.Thread | None = None
        self._at_s = 0.0
        self._done_s: float | None = None
        self._asked: Future[Any] | None = None

    def serve(self, writer: Writer, watch: SelfWatch) -> None:
        """Whose log it is now, and who keeps in mind how the jobs went."""
        self._writer, self._watch = writer, watch

    def start(self) -> None:
        """Arms the jobs; costs an import, so not before the first minute is measured."""
        from apscheduler.events import EVENT_SCHEDULER_STARTED
        from apscheduler.executors.pool import ThreadPoolExecutor
        from apscheduler.schedulers.blocking import BlockingScheduler

        logging.getLogger("apscheduler").setLevel(logging.ERROR)
        self._scheduler = BlockingScheduler(
            timezone=UTC, executors={"default": ThreadPoolExecutor(1)},
            job_defaults={"coalesce": True, "misfire_grace_time": None, "max_instances": 1})
        self._arm()
        started = threading.Event()
        self._scheduler.add_listener(lambda _: started.set(), EVENT_SCHEDULER_STARTED)
        self._thread = threading.Thread(target=self._scheduler.start, name="chores", daemon=True)
        self._thread.start()
        started.wait(STARTS_WITHIN_S)

    def rearm(self) -> None:
        """The wall clock was set: what was due by the old one is due by the new one."""
        if self._scheduler is not None:
            self._scheduler.remove_all_jobs()
            self._arm()
            self._scheduler.wakeup()

    def alive(self) -> bool:
        """Whether the scheduler works (True before it was started)."""
        return self._scheduler is None or (self._thread is not None and self._thread.is_alive())

    def revive(self) -> None:
        """Begins anew with a scheduler of which the thread has ended."""
        self._scheduler = None
        self.start()

    def next_run_utc(self) -> datetime | None:
        """When the next job is due."""
        jobs = self._scheduler.get_jobs() if self._scheduler else []
        return min((job.next_run_time for job in jobs if job.next_run_time), default=None)

    def close(self) -> None:
        """Ends after the job that runs."""
        if self._scheduler is not None:
            if self._thread is not None and self._thread.is_alive():
                self._scheduler.shutdown(wait=False)
                self._thread.join(STARTS_WITHIN_S)
            self._scheduler = self._thread = None

    def overdue(self, at_s: float) -> None:
        """Asked once a minute with the log's time: makes up for nights in which the board was off or had no clock."""
        self._at_s = at_s
        if self._done_s is None:  # the beat never waits for the log
            self._asked = self._asked or self._writer.ask(_last_done)
            if not self._asked.done():
                return
            self._done_s = 0.0 if self._asked.exception() else self._asked.result()
        if at_s - self._done_s > OVERDUE_S and self._scheduler is not None and not self._scheduler.get_job("made up"):
            self._done_s = at_s
            self._scheduler.add_job(self.night, id="made up")

    def night(self) -> None:
        """All jobs once, each whatever became of the one before."""
        self._done_s = self._at_s
        self._writer.remember("chores_ms", str(round(self._at_s * 1000)))
        self._do(THINNING, self._thin)
        self._do(CHECK, self._check)
        if self._backup_to is not None:
            self._do(COPY, self._copy)

    def _arm(self) -> None:
        self._scheduler.add_job(self.night, "cron", hour=NIGHT_HOUR, minute=NIGHT_MINUTE, id="night",
                                timezone=datetime.now().astimezone().tzinfo)

    def _do(self, name: str, job: Callable[[], None]) -> None:
        """A failing chore is told once, and once more when it works again; meanwhile it is an alert."""
        before = self._watch.failing(name)
        try:
            job()
        except (Exception, TooLate) as error:
            why = str(error).rstrip(".") or type(error).__name__
            log.error("%s failed: %s", name, why)
            self._watch.note_job(name, self._at_s, why)
            if not before:
                self._tell("chore_failed", f"The nightly {name} failed: {why}.")
        else:
            self._watch.note_job(name, self._at_s)
            if before:
                self._tell("chore_works", f"The nightly {name} works again.")

    def _thin(self) -> None:
        folder = past.folder_of(self._database)
        self._writer.ask(lambda connection: thinning.retire(connection.exec_driver_sql, folder, self._raw_days)).result(JOB_TIMEOUT_S)

    def _check(self) -> None:
        """Reads the log whole; what is damaged is mended the same night, and told with what is missing."""
        found = check.check(self._database)
        folder = past.folder_of(self._database)
        for kind, number, missing in found.files:  # told first: a power cut in between has it told twice, and not never
            self._writer.note_damage(mending.describe(kind, number, list(missing)))
            self._writer.flush(JOB_TIMEOUT_S)
            self._writer.ask(partial(_mend, folder, kind, number)).result(JOB_TIMEOUT_S)  # its own thread: it may be sealing that day
        if found.present:
            self._writer.salvage(found.present).result(JOB_TIMEOUT_S)

    def _copy(self) -> None:
        assert self._backup_to is not None
        proof = copies.rotate(self._database, self._backup_to, datetime.now().strftime("%Y-%m-%d"), same_card=self._same_card)
        if proof.damaged_hours:
            raise backup.NotCopied(f"the copy was made, but {proof.damaged_hours} blocks of the log were damaged before; older copies stay")


def _mend(folder: Path, kind: str, number: int, _connection: Any) -> list[mending.Span]:
    return mending.mend(folder, kind, number)


def _last_done(connection: Any) -> float:
    row = connection.exec_driver_sql("select value from meta where name = 'chores_ms'").fetchone()
    return int(row[0]) / 1000 if row else 0.0
