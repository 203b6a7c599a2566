"""Space kept in hand: a full disk cannot even delete from a log, so a file stands by to be given up."""
import os
from pathlib import Path

#: Given up when the disk is full (choice: some weeks of minutes, or the journal of a large transaction).
BALLAST_BYTES = 8 * 1024 * 1024
#: The ballast is made, and made again, only where so much would still be free besides.
ROOM_BYTES = 64 * 1024 * 1024


def file_of(database: Path) -> Path:
    """Where the ballast of a log lies."""
    return database.with_name(database.name + ".ballast")


def hold(database: Path, size: int = BALLAST_BYTES, room: int = ROOM_BYTES) -> bool:
    """Sees that the ballast is there, if the disk has room for it; returns whether it is.

    database: the log's file; size: of the reserve [bytes]; room: that must stay free beside it [bytes].
    """
    file = file_of(database)
    try:
        if file.exists() and file.stat().st_size >= size:
            return True
        if free_bytes(database) < room + size:
            return False
        with open(file, "wb") as opened:
            os.posix_fallocate(opened.fileno(), 0, size)
            os.fsync(opened.fileno())
        return True
    except OSError:
        give_up(database)
        return False


def give_up(database: Path) -> bool:
    """Frees the ballast; returns whether there was one."""
    try:
        file_of(database).unlink()
        return True
    except OSError:
        return False


def free_bytes(database: Path) -> int:
    """Bytes that may still be written where the log lies."""
    room = os.statvfs(database.parent)
    return room.f_bavail * room.f_frsize
