"""One daemon for one log: a lock that the kernel lets go of when its holder dies, however it dies."""
import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def hold_lock(database: Path) -> Iterator[bool]:
    """Whether the lock of this log is ours while we are in here."""
    database.parent.mkdir(parents=True, exist_ok=True)
    with open(database.with_name(database.name + ".lock"), "a") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            yield False
            return
        yield True
