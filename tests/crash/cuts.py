"""Kills daemons and looks at what is left: shared by the quick test and the long benchmark."""
import os
import select
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from monitor import pipeline
from monitor.alerts import rules
from monitor.logbook import resume
from monitor.sampling.gather import Gathering
from monitor.store import migrate
from monitor.store.state import State
from tests.store_fixture import VEHICLE

ROOT = Path(__file__).parent.parent.parent


@dataclass
class Said:
    """What a killed daemon had been promised."""

    minutes: list[int] = field(default_factory=list)
    events: set[str] = field(default_factory=set)

    def take(self, line: str) -> None:
        """One line of it."""
        word, _, rest = line.partition(" ")
        if word == "minute":
            self.minutes.append(int(rest))
        elif word == "event":
            self.events.add(rest)


class Victims:
    """A process that forks daemons on demand."""

    def __enter__(self) -> "Victims":
        self._process = subprocess.Popen([sys.executable, "-m", "tests.crash.victim"], cwd=ROOT, stdin=subprocess.PIPE,
                                         stdout=subprocess.PIPE, bufsize=0)
        self._rest = b""
        assert self._line(60) == "ready"
        return self

    def __exit__(self, *_: object) -> None:
        self._process.stdin.close()
        self._process.wait(10)
        self._process.stdout.close()

    def cut(self, folder: Path, minutes: int, more_s: float, commit_s: float = 60.0) -> Said:
        """Starts a daemon, waits for so many minutes of its life and then so long, kills it, returns what it had said."""
        self._process.stdin.write(f"{folder} {commit_s}\n".encode())
        said, pid, due = Said(), None, None
        while (line := self._line(60 if due is None else max(due - time.monotonic(), 0))) is not None:
            if line.startswith("pid "):
                pid = int(line[4:])
            said.take(line)
            if due is None and pid and len(said.minutes) >= minutes:
                due = time.monotonic() + more_s
        assert due is not None, "the daemon did not live"
        os.kill(pid, signal.SIGKILL)
        while _alive(pid):
            time.sleep(0.001)
        while (line := self._line(0)) is not None:
            said.take(line)
        return said

    def _line(self, wait_s: float) -> str | None:
        until = time.monotonic() + wait_s
        while b"\n" not in self._rest:
            ready, _, _ = select.select([self._process.stdout], [], [], max(until - time.monotonic(), 0))
            if not ready:
                return None
            self._rest += os.read(self._process.stdout.fileno(), 65536)
        line, _, self._rest = self._rest.partition(b"\n")
        return line.decode()


def _alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@dataclass(frozen=True)
class Left:
    """What a log tells after a cut."""

    sound: bool
    minute_s: float         # end of the latest minute
    events: set[str]
    spent_ah: float         # by the trackers' saved state
    rows_ah: float          # by the rows
    expected_ah: float      # one ampere for every second that was seen
    lost_parts: tuple[str, ...]


def look(database: Path) -> Left:
    """Reads a log as a restart does, and as a checker does."""
    found = resume.read(database, State(pipeline.begin(VEHICLE), rules.begin(), Gathering()))
    assert not found.trouble, found.why
    total = found.state.watch.counts.total
    with closing(sqlite3.connect(f"file:{database}?mode=ro", uri=True)) as log:
        sound = log.execute("pragma integrity_check").fetchone() == ("ok",)
        if migrate.version_of(log) is None:  # cut while it was being made: no log yet
            return Left(sound, 0.0, set(), 0.0, 0.0, 0.0, ())
        minute_ms, rows_uah, covered_s = log.execute(
            "select coalesce(max(end_ms), 0), coalesce(sum(charge_out_uah), 0), coalesce(sum(covered_s), 0) from minutes").fetchone()
        events = {m for (m,) in log.execute("select message from events where kind = 'promised'")}
    return Left(sound, minute_ms / 1000, events, total.spent_ah, rows_uah / 1e6, total.seen_s / 3600, found.lost)
