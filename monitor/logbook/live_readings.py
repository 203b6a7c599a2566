"""What the instruments show at this very beat: a small file in memory under /run, for a page with a multimeter beside it."""
import json
import os
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from monitor.store import runtime

#: Written no more often than this [s]: a phone asks every two seconds.
EVERY_S = 0.9
#: Older readings are not those of this moment [s]; a slow instrument is asked once a minute.
LATEST_S = 90.0


@dataclass(frozen=True, slots=True)
class LiveReadings:
    """values: quantity -> reading, corrected; at_pin: voltages whose divider nobody knows yet, as their channel shows them [V]."""

    age_s: float
    values: dict[str, float]
    at_pin: dict[str, float]


def _file_of(database: Path) -> Path | None:
    return runtime.file_for(database, "readings")


class LiveReadingsFile:
    """The daemon's end of it. Nothing in it raises: a beat must not hang on it."""

    def __init__(self, database: Path) -> None:
        self._file = _file_of(database) if runtime.is_ours() else None
        self._due_s = 0.0

    def write(self, values: dict[str, float], at_pin: dict[str, float]) -> None:
        """Puts it there, whole or not at all.

        values: what is believed; at_pin: what an unknown divider leaves of a voltage [V]
        """
        now_s = time.clock_gettime(time.CLOCK_BOOTTIME)
        if self._file is None or now_s < self._due_s:
            return
        self._due_s = now_s + EVERY_S
        part = self._file.with_name(f".{self._file.name}")
        with suppress(OSError):
            with open(part, "w", encoding="utf-8", opener=lambda path, flags: os.open(path, flags, 0o640)) as opened:
                json.dump({"at_boot_s": now_s, "values": values, "at_pin": at_pin}, opened)
            runtime.hand_over(part)
            part.replace(self._file)


def read(database: Path) -> LiveReadings | None:
    """What is shown now; None where nobody says, or what is said is old."""
    file = _file_of(database)
    if file is None:
        return None
    try:
        plain = json.loads(file.read_text(encoding="utf-8"))
        age_s = time.clock_gettime(time.CLOCK_BOOTTIME) - float(plain["at_boot_s"])
        values, at_pin = ({str(k): float(v) for k, v in plain[name].items()} for name in ("values", "at_pin"))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
    return LiveReadings(age_s, values, at_pin) if 0 <= age_s <= LATEST_S else None
