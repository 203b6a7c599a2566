"""Long work for the pages: one process at a time beside theirs, with its progress, a time limit and results that are kept."""
import atexit
import logging
import os
import re
import subprocess
import sys
import tempfile
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

log = logging.getLogger("ampledger.pages")

#: Longer than this no piece of work goes on [s].
LONGEST_S = 900.0
#: Results of one kind that are kept, the latest; sentences of failures that are kept in memory.
KEPT, FAILURES = 12, 20
NUMBER = re.compile(r"[0-9a-f]{12}")


@dataclass(frozen=True, slots=True)
class Stage:
    """Where a piece of work stands: its part done [0..1], its result's file, or why there is none."""

    done_frac: float = 0.0
    file: Path | None = None
    why: str = ""


class Background:
    """Starts one piece of work at a time in a process that gives way to every other one, and keeps the files it makes.

    folder : where results are kept; None: in a folder that goes with this process
    """

    def __init__(self, folder: Path | None = None) -> None:
        self._folder = folder
        self._lock, self._making = threading.Lock(), threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._number, self._done_frac = "", 0.0
        self._failed: dict[str, str] = {}

    @property
    def folder(self) -> Path:
        """Where results are kept; it is made when it is first asked for."""
        with self._making:
            if self._folder is None:
                temporary = tempfile.TemporaryDirectory(prefix="ampledger-pages-", ignore_cleanup_errors=True)
                atexit.register(temporary.cleanup)
                self._folder = Path(temporary.name)
            self._folder.mkdir(parents=True, exist_ok=True)
            return self._folder

    def start(self, number: str, file_name: str, module: str, arguments: Sequence[str]) -> bool:
        """Begins a piece of work, unless another is being done; returns whether it is this one that is being done, or is done.

        number : what it is called in addresses: twelve of 0-9a-f
        file_name : of its result, in the folder: KIND-NUMBER.ENDING
        module : is run with the arguments and `--output FILE`; each line it prints is the part that is done, and the last
        arguments : of the module's command line
            line on its standard error says why it failed
        """
        with self._lock:
            if self._process is not None:
                return self._number == number
            if (self.folder / file_name).exists():
                return True
            self._failed.pop(number, None)
            self._process = subprocess.Popen(
                [sys.executable, "-m", "dashboard.jobs.gently", module, *arguments, "--output", str(self.folder / file_name)],
                stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, errors="replace",
                env=os.environ | {"PYTHONUNBUFFERED": "1"})
            self._number, self._done_frac = number, 0.0
            atexit.register(self._process.kill)
            threading.Thread(target=self._follow, args=(self._process, number, file_name), name="background", daemon=True).start()
            return True

    def stage(self, number: str, file_name: str) -> Stage | None:
        """Where a piece of work stands; None where nothing is known of it."""
        with self._lock:
            if self._process is not None and self._number == number:
                return Stage(self._done_frac)
            why = self._failed.get(number)
        if self._folder is not None and (file := self._folder / file_name).is_file():
            return Stage(1.0, file)
        return None if why is None else Stage(why=why)

    @property
    def busy(self) -> bool:
        """Whether something is being done."""
        return self._process is not None

    def list_results(self, kind: str) -> list[tuple[str, Path]]:
        """(number, file) of the results of a kind, latest first."""
        if self._folder is None:
            return []
        found = []
        for file in self._folder.glob(f"{kind}-*"):
            number = file.stem.rpartition("-")[2]
            if NUMBER.fullmatch(number):
                with suppress(FileNotFoundError):     # a piece of work that has just ended clears up
                    found.append((file.stat().st_mtime_ns, number, file))
        return [(number, file) for _, number, file in sorted(found, reverse=True)]

    def _follow(self, process: subprocess.Popen[str], number: str, file_name: str) -> None:
        limit = threading.Timer(LONGEST_S, process.kill)
        limit.daemon = True
        limit.start()
        with process:
            assert process.stdout is not None and process.stderr is not None
            for line in process.stdout:
                try:
                    self._done_frac = min(max(float(line), 0.0), 1.0)
                except ValueError:
                    log.debug("%s: %s", file_name, line.rstrip())
            said = process.stderr.read().strip().splitlines()
            code = process.wait()
        limit.cancel()
        atexit.unregister(process.kill)
        for _, old in self.list_results(file_name.partition("-")[0])[KEPT:]:
            old.unlink(missing_ok=True)
        with self._lock:
            if code:
                self._failed[number] = _sentence(said[-1] if said else "", code)
                log.warning("%s failed: %s", file_name, self._failed[number])
                while len(self._failed) > FAILURES:
                    del self._failed[next(iter(self._failed))]
            self._process = None


def _sentence(said: str, code: int) -> str:
    text = said.removeprefix("Error: ").strip()
    if code < 0:
        return f"It was ended after {LONGEST_S / 60:.0f} minutes, or for want of memory. Ask for less."
    return text[:400] or "It ended without a word; the journal may say more."
