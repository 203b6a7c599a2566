"""What the kernel knows of the card that the log is on: read-only, errors counted, worn, and complaints in its log."""
import os
import re
import subprocess
from dataclasses import dataclass
from pathlib import Path

#: Complaints of storage, whatever the file system: the words of the block layer, the card's driver and the usual file systems.
COMPLAINTS = re.compile(r"mmc\w*: (?:.*\berror|.*timeout|.*timed out)|I/O error|(?:EXT4|F2FS|BTRFS|XFS)[^:]*: .*\berror|EXT4-fs error|"
                        r"Remounting filesystem read-only|medium error|Buffer I/O", re.IGNORECASE)
#: A card's own estimate of what it has used up, in tenths: 0x01 is up to 10 %, 0x0b beyond its time (JEDEC eMMC, EXT_CSD).
WORN_TENTHS = 9


@dataclass(frozen=True, slots=True)
class Card:
    """None where it cannot be told from here."""

    device: str
    read_only: bool
    errors_count: int | None
    worn_tenths: int | None


def inspect_card(folder: Path, root: Path = Path("/")) -> Card:
    """The card that a folder is on.

    errors_count is ext4's own, kept on the card over restarts (Linux ABI, sysfs-fs-ext4); worn_tenths an eMMC's
    (sysfs-block-device life_time, the worse of two).
    """
    number = os.stat(folder).st_dev
    place = root / f"sys/dev/block/{os.major(number)}:{os.minor(number)}"
    device = place.resolve().name if place.exists() else ""
    errors = _number(root / "sys/fs/ext4" / device / "errors_count") if device else None
    lives = [_number_in(word) for word in _text(place.resolve().parent / "device/life_time").split()] if device else []
    return Card(device, bool(os.statvfs(folder).f_flag & os.ST_RDONLY), errors, max((x for x in lives if x is not None), default=None))


def find_complaints() -> list[str] | None:
    """Lines of the kernel's log that complain of storage; None where it may not be read (often root only)."""
    for command in (["dmesg", "--level", "emerg,alert,crit,err,warn"],
                    ["journalctl", "--dmesg", "--boot", "--quiet", "--priority", "warning"]):
        try:
            said = subprocess.run(command, capture_output=True, text=True, errors="replace", timeout=10, check=True).stdout
        except (OSError, subprocess.SubprocessError):
            continue
        if said.strip() or command[0] == "dmesg":
            return [line.strip() for line in said.splitlines() if COMPLAINTS.search(line)]
    return None


def _text(file: Path) -> str:
    try:
        return file.read_text().strip()
    except OSError:
        return ""


def _number(file: Path) -> int | None:
    return _number_in(_text(file))


def _number_in(word: str) -> int | None:
    try:
        return int(word, 0)
    except ValueError:
        return None
