"""A log on a card that cannot be written: SQLite reads what waits in its write-ahead log only where it may write beside it."""
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from monitor.store import runtime

#: A larger log is not copied into memory: the service may use 160 MB in all.
LARGEST_BYTES = 64 * 1024 * 1024
#: Memory that every Linux has, where the service's folder is not there.
SHARED_MEMORY = Path("/dev/shm")


@contextmanager
def copied_to_memory(database: Path) -> Iterator[Path]:
    """A copy of the log in memory, with what waits in its write-ahead log, gone afterwards.

    Raises
    ------
    OSError : the log cannot be read, is too large, or there is no memory to put it in
    """
    files = [file for ending in ("", "-wal") if (file := database.with_name(database.name + ending)).exists()]
    if (size := sum(file.stat().st_size for file in files)) > LARGEST_BYTES:
        raise OSError(f"{database} cannot be opened, and its {size} bytes are too many to be read from memory")
    with tempfile.TemporaryDirectory(prefix="read-", dir=runtime.folder() or SHARED_MEMORY) as folder:
        for file in files:
            shutil.copyfile(file, Path(folder) / file.name)
        yield Path(folder) / database.name
