"""Learning from the log again while measuring goes on: a process beside the daemon lives through it, the result is taken over."""
import json
import logging
import os
import subprocess
import sys
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from monitor.battery.label import Vehicle
from monitor.findings import Event
from monitor.sample import Minute
from monitor.store import saving

log = logging.getLogger("ampledger")

#: Minutes that go by meanwhile are kept for the end; beyond so many the oldest go, and the trackers see a gap there.
KEPT_MINUTES = 1440
#: Of these so many are lived through in one beat at the end: no beat is late by it.
CAUGHT_UP_AT_ONCE = 10
#: Progress is told in such steps.
TOLD_FRAC = 0.05
#: Minutes kept in advance that the log may not have yet: the longest time between commits, and some.
RECENT_MINUTES = 12

Remember = Callable[[str, str], object]


class Relearner:
    """What the daemon has to do with it: begins a run, feeds it, keeps in the log how far it is, and says what came of it."""

    def __init__(self, make: "Callable[..., Relearning] | None") -> None:
        self._make, self._told = make, 0.0
        self.run: Relearning | None = None
        self._ending: list[subprocess.Popen[bytes]] = []
        self._recent: deque[Minute] = deque(maxlen=RECENT_MINUTES)

    @property
    def able(self) -> bool:
        """Whether it can be done here at all."""
        return self._make is not None

    def begin(self, database: Path, vehicle: Vehicle, parts: tuple[str, ...], kind: type, remember: Remember) -> None:
        """Begins a run, in place of one that is on its way; nothing where there are no parts.

        Parameters
        ----------
        database : the log
        vehicle : as it is known today
        parts : trackers to be learnt again
        kind : of what all trackers hold
        remember : keeps a word in the log
        """
        self.close()
        if parts and self._make is not None:
            log.info("learning %s again from the log", ", ".join(parts))
            self.run = self._make(database, vehicle, parts, kind)
            for minute in self._recent:
                self.run.minute(minute)
            self._told = 0.0
            self._keep(remember)

    def note(self, minute: Minute) -> None:
        """A minute that was lived."""
        self._recent.append(minute)
        if self.run is not None:
            self.run.minute(minute)

    def turn(self, held: Any, step: Callable[[Any, Minute, Vehicle], tuple[Any, Any]], at_s: float,
             remember: Remember, save: Callable[[Any, Event], object]) -> None:
        """Once a beat: how far it is; hands over what the trackers hold from now on and what is to be told where a run ended.

        Parameters
        ----------
        held : what they hold now
        step : one minute further
        at_s : the present
        remember : keeps a word in the log
        save : takes both, and has them written; only then is the word gone by which the next start would begin it again
        """
        self._ending = [process for process in self._ending if process.poll() is None]
        run = self.run
        if run is None:
            return
        states, parts = run.turn(held, step), ", ".join(run.parts)
        if states is not None:
            event = Event(at_s, "relearnt", "vehicle", f"Learnt again from the log: {parts}.")
        elif run.failed:
            log.error("learning from the log again failed: %s", run.failed)
            states, event = held, Event(at_s, "relearning_failed", "vehicle", f"Learning from the log again failed ({run.failed}); {parts} "
                                        "went on afresh. `ampledger relearn` tries again.")
        else:
            if run.part >= self._told + TOLD_FRAC:
                self._told = run.part
                self._keep(remember)
            return
        self.close()
        save(states, event)
        remember("relearning", "")

    def close(self, wait_s: float = 0.0) -> None:
        """Ends a run that is on its way; the next start begins it again. No beat waits for the end of its process."""
        if self.run is not None and (process := self.run.close()) is not None:
            self._ending.append(process)
        self.run = None
        for process in self._ending if wait_s else ():
            with suppress(subprocess.TimeoutExpired):
                process.wait(wait_s)

    def _keep(self, remember: Remember) -> None:
        """How far it is, for the pages, and of what, for a start that comes before its end."""
        assert self.run is not None
        remember("relearning", json.dumps({"part": round(self._told, 2), "parts": self.run.parts}))


class Relearning:
    """One run through the log. Ask `minute` after each minute and `turn` on each beat; it never waits and never raises."""

    def __init__(self, database: Path, vehicle: Vehicle, parts: tuple[str, ...], kind: type) -> None:
        self.parts, self._vehicle, self._kind = parts, vehicle, kind
        self.part, self.failed = 0.0, ""
        self._minutes: deque[Minute] = deque(maxlen=KEPT_MINUTES)
        self._states: Any = None
        self._rest = b""
        self._process: subprocess.Popen[bytes] | None = None
        try:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "monitor.process.relive", str(database), ",".join(parts)],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
            assert self._process.stdin is not None and self._process.stdout is not None
            self._process.stdin.write(saving.to_text(vehicle).encode())
            self._process.stdin.close()
            os.set_blocking(self._process.stdout.fileno(), False)
        except OSError as error:
            self.failed = str(error)

    def minute(self, minute: Minute) -> None:
        """Keeps a minute that the other process may not have seen."""
        self._minutes.append(minute)

    def turn(self, held: Any, step: Callable[[Any, Minute, Vehicle], tuple[Any, Any]]) -> Any | None:
        """Looks how far it is; returns what the trackers hold from now on where it is done, else None.

        Parameters
        ----------
        held : what they hold now; parts that were not asked for stay as they are
        step : one minute further, of the pipeline
        """
        if self._states is None:
            self._listen()
        if self._states is None:
            return None
        for _ in range(min(CAUGHT_UP_AT_ONCE, len(self._minutes))):
            self._states, _ = step(self._states, self._minutes.popleft(), self._vehicle)
        if self._minutes:
            return None
        return replace(held, **{name: getattr(self._states, name) for name in self.parts})

    def close(self) -> subprocess.Popen[bytes] | None:
        """Has the process beside end; returns it, to be waited for."""
        process, self._process = self._process, None
        if process is not None:
            if process.poll() is None:
                process.terminate()
            if process.stdout is not None:
                process.stdout.close()
        return process

    def _listen(self) -> None:
        if self._process is None or self._process.stdout is None or self.failed:
            return
        try:
            data = self._process.stdout.read(1 << 20)
        except OSError as error:
            self.failed = str(error)
            return
        if data:
            self._rest += data
        *lines, self._rest = self._rest.split(b"\n")
        for line in lines:
            self._hear(line)
        if not data and self._states is None and not self.failed and self._process.poll() is not None:
            self.failed = f"the process beside ended with {self._process.returncode}"

    def _hear(self, line: bytes) -> None:
        try:
            words = json.loads(line)
            self.part = float(words.get("part", self.part))
            self.failed = str(words.get("failed", ""))
            if "states" in words:
                self._states = saving.from_text(self._kind, words["states"])
                until_s = float(words["until_s"])
                while self._minutes and self._minutes[0].end_s <= until_s:
                    self._minutes.popleft()
        except (ValueError, TypeError, AttributeError) as error:
            self.failed = f"what it said is not understood: {error}"
