"""What could not be delivered yet, in a small file beside the log: kept over a restart, shown by the commands."""
import zlib
from dataclasses import dataclass
from pathlib import Path

from monitor.alerts.rules import AlertChange
from monitor.store import saving
from monitor.store.all_or_nothing import write_text


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
    """The file: a CRC-32 in its first line, then the text. Reading a missing or damaged one gives nothing; writing replaces it whole."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.damaged = False  # as it was last read: something waited, and nobody knows what

    def read(self) -> tuple[Waiting, ...]:
        """What was waiting when it was last written."""
        self.damaged = False
        try:
            text = self.path.read_text(encoding="utf-8")
            if not text.startswith("{"):  # one of an earlier version has no checksum
                crc, _, text = text.partition("\n")
                if int(crc, 16) != zlib.crc32(text.encode()):
                    raise ValueError("its checksum does not fit")
            return saving.from_text(Sheet, text).items
        except OSError:
            return ()
        except ValueError:
            self.damaged = True
            return ()

    def write(self, items: tuple[Waiting, ...]) -> None:
        """Replace it; nothing waiting removes it. Raises OSError."""
        if not items:
            self.path.unlink(missing_ok=True)
            return
        text = saving.to_text(Sheet(items))
        write_text(self.path, f"{zlib.crc32(text.encode()):08x}\n{text}")
