"""What the daemon knows while its log cannot be written: a file in memory under /run, read where the log's end is older."""
import logging
import os
import zlib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from monitor.alerts.rules import Alert
from monitor.battery.label import Vehicle
from monitor.pipeline import Findings
from monitor.sample import Sample
from monitor.store import runtime, saving

log = logging.getLogger("ampledger.store")


@dataclass(frozen=True, slots=True)
class LiveState:
    """The latest minute as it would stand in the log, and the alerts that are open. at_s is on the log's own line of time."""

    at_s: float
    utc_offset_s: float
    utc_sigma_s: float
    utc_trusted: bool
    simulated: bool
    sample: Sample | None
    findings: Findings
    vehicle: Vehicle
    alerts: tuple[Alert, ...]


def file_of(database: Path) -> Path | None:
    """Where it lies; None where there is no folder in memory."""
    return runtime.file_for(database, "live")


class LiveFile:
    """The daemon's end of it. Nothing in it raises: a beat must not hang on it."""

    def __init__(self, database: Path) -> None:
        self._file = file_of(database) if runtime.is_ours() else None
        self._there = True  # of an earlier run, perhaps
        self.remove()

    def write(self, state: LiveState) -> None:
        """Puts it there, whole or not at all."""
        if self._file is None:
            return
        text = saving.to_text(state).encode()
        part = self._file.with_name(f".{self._file.name}")
        try:
            with open(part, "wb", opener=lambda path, flags: os.open(path, flags, 0o640)) as opened:
                opened.write(b"%08x\n" % zlib.crc32(text) + text)
            runtime.hand_over(part)
            part.replace(self._file)
            self._there = True
        except OSError as error:
            log.warning("the state cannot be shown from memory: %s", error)

    def remove(self) -> None:
        """Takes it away: the log itself says it again."""
        if self._there and self._file is not None:
            with suppress(OSError):
                self._file.unlink(missing_ok=True)
        self._there = False


def read(database: Path) -> LiveState | None:
    """What is there; None where there is nothing, or it cannot be read."""
    file = file_of(database)
    if file is None:
        return None
    try:
        crc, _, text = file.read_bytes().partition(b"\n")
        return saving.from_text(LiveState, text.decode()) if int(crc, 16) == zlib.crc32(text) else None
    except (OSError, ValueError):
        return None
