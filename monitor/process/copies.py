"""Where a copy of the log may go: on another card than the log's, in a place that is there, over nothing."""
import os
import re
from pathlib import Path

from monitor.store import backup
from monitor.store.backup import KEPT_COPIES, NotCopied, Proof

_NUMBERED = re.compile(r"ampledger-(\d{6})-.*\.db")


def same_disk(a: Path, b: Path, root: Path = Path("/")) -> bool:
    """Whether two places, or the nearest folders above them that are there, lie on one disk, whatever its partitions.

    Partitions are told by the kernel (sysfs: dev/block/MAJOR:MINOR, `partition`); what is no block device at all
    (memory, a network) counts by its number.

    a, b: the two places; root: where the kernel's sysfs is found.
    """
    return _disk(_nearest(a), root) == _disk(_nearest(b), root)


def check_target(database: Path, target: Path, *, same_card: bool = False, replace: bool = False) -> None:
    """Looks whether a copy may be put there.

    same_card : the owner knows that it lies on the log's own card
    replace : a file of that name may be written over
    database : the log's file
    target : the copy's file

    Raises
    ------
    NotCopied : what stands against it, and what to do
    """
    if target.exists() and not target.is_dir() and not replace:
        raise NotCopied(f"{target} is there already; name another file, or say --replace")
    if not same_card and same_disk(database, target):
        raise NotCopied(f"{target} would lie on the card that the log is on: a stick that is not plugged in looks like this. Mount it, "
                        "or say that you mean it (--same-card; backup_on_same_card under [log])")


def rotate(database: Path, folder: Path, day: str, *, same_card: bool) -> Proof:
    """A nightly copy with a number and a day in its name; of the numbered ones and older kinds the latest KEPT_COPIES stay.

    The number decides which is latest: a day can be a wrong one. Nothing goes before the new copy is proved good, and
    none goes where the new one holds damage that an older may not.

    database: the log's file; folder: of the copies; day: for its name, as YYYY-MM-DD; same_card: the owner knows that the folder
    lies on the log's own card.

    Raises
    ------
    NotCopied : the folder is not there, is on the log's own card, or the copy is not good
    """
    if not folder.is_dir():
        raise NotCopied(f"{folder} is not there: is the stick plugged in and mounted?")
    if not same_card and same_disk(database, folder):
        raise NotCopied(f"{folder} lies on the card that the log is on: a stick that is not plugged in looks like this. Mount it, or set "
                        "backup_on_same_card = true under [log] if you mean it")
    numbers = {file: int(found[1]) if (found := _NUMBERED.fullmatch(file.name)) else 0 for file in folder.glob("ampledger-*.db")}
    proof = backup.backup(database, folder / f"ampledger-{max(numbers.values(), default=0) + 1:06d}-{day}.db")
    if not proof.damaged_hours:
        for old in sorted(numbers, key=lambda file: (numbers[file], file.name))[:max(len(numbers) + 1 - KEPT_COPIES, 0)]:
            old.unlink(missing_ok=True)
    return proof


def _nearest(place: Path) -> Path:
    place = place.absolute()
    while not place.exists():
        place = place.parent
    return place


def _disk(place: Path, root: Path) -> str:
    number = os.stat(place).st_dev
    device = root / f"sys/dev/block/{os.major(number)}:{os.minor(number)}"
    if not device.exists():
        return str(number)
    known = device.resolve()
    return str(known.parent if (known / "partition").exists() else known)
