"""What could not be delivered yet, in a small file beside the log: kept over a restart, shown by the commands."""
import os
from dataclasses import dataclass
from pathlib import Path

from monitor.alerts.rules import AlertChange
from monitor.store import saving


@dataclass(frozen=True, slots=True)
class Waiting:
    """One alert that one channel has not delivered yet. Times are on the deliverer's own clock, which starts at boot."""

    change: AlertChange
    channel: str
    tries: int
    due_s: float
    since_s: float
    why: str = ""
    given_up: bool = False


@dataclass(frozen=True, slots=True)
class Sheet:
    """All of it, as it is written."""

    items: tuple[Waiting, ...]


class Spool:
    """The file. Reading a missing or damaged one gives nothing; writing replaces it whole."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def read(self) -> tuple[Waiting, ...]:
        """What was waiting when it was last written."""
        try:
            return saving.from_text(Sheet, self.path.read_text(encoding="utf-8")).items
        except (OSError, ValueError):
            return ()

    def write(self, items: tuple[Waiting, ...]) -> None:
        """Replace it; nothing waiting removes it. Raises OSError."""
        if not items:
            self.path.unlink(missing_ok=True)
            return
        hidden = self.path.with_name(f".{self.path.name}")
        with open(hidden, "w", encoding="utf-8") as file:
            file.write(saving.to_text(Sheet(items)))
            file.flush()
            os.fsync(file.fileno())
        hidden.replace(self.path)
