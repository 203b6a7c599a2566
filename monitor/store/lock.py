"""One daemon for one log: a lock that the kernel lets go of when its holder dies, however it dies, and that needs no card."""
import fcntl
import os
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

from monitor.store import runtime


@contextmanager
def hold_lock(database: Path) -> Iterator[bool]:
    """Whether the lock of this log is ours while we are in here.

    It is taken in memory under /run, where the service has its folder, and beside the log, where somebody by hand looks
    for it; a place that cannot be written (a card that is read-only, full or missing) is passed over.
    """
    with ExitStack() as stack:
        ours = True
        for place, make in ((runtime.file_for(database, "lock"), runtime.is_ours()),
                            (database.with_name(database.name + ".lock"), True)):
            if ours and place is not None and (opened := _open(place, make)) is not None:
                stack.callback(os.close, opened)
                try:
                    fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
                except OSError:
                    ours = False
        yield ours


def is_held(database: Path) -> bool | None:
    """Whether a daemon holds the lock of this log; None where that cannot be seen (its lock file may not be read)."""
    seen: bool | None = False
    for place in (runtime.file_for(database, "lock"), database.with_name(database.name + ".lock")):
        if place is None or not place.exists():
            continue
        opened = _open(place, make=False)
        if opened is None:
            seen = None
            continue
        try:
            fcntl.flock(opened, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except OSError:
            return True
        finally:
            os.close(opened)
    return seen


def _open(place: Path, make: bool) -> int | None:
    """A file descriptor to lock by; a lock needs no right to write."""
    flags = os.O_RDONLY | os.O_CLOEXEC
    try:
        return os.open(place, flags)
    except OSError:
        if not make:
            return None
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        opened = os.open(place, flags | os.O_CREAT, 0o644)
    except OSError:
        return None
    runtime.hand_over(place)
    return opened
