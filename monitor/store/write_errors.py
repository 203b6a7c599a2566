"""What kind of trouble a failed write is: by SQLite's own names, never by its messages."""
import errno
import sqlite3
from typing import Literal

from monitor.store.checksum import RowDamaged
from monitor.store.chunks import Damaged

Trouble = Literal["full", "damaged", "busy", "unwritable", "ours"]

_OF_CODE = {"SQLITE_FULL": "full", "SQLITE_CORRUPT": "damaged", "SQLITE_NOTADB": "damaged", "SQLITE_BUSY": "busy",
            "SQLITE_LOCKED": "busy", "SQLITE_IOERR": "unwritable", "SQLITE_CANTOPEN": "unwritable", "SQLITE_READONLY": "unwritable",
            "SQLITE_PERM": "unwritable", "SQLITE_NOMEM": "unwritable", "SQLITE_NOLFS": "unwritable", "SQLITE_AUTH": "unwritable"}


def classify_error(error: BaseException) -> Trouble:
    """What to do about it: free space, set aside, wait, open again, or mend our own mistake."""
    cause = getattr(error, "orig", None) or error
    if isinstance(cause, (RowDamaged, Damaged)):
        return "damaged"
    if isinstance(cause, sqlite3.Error):
        name = getattr(cause, "sqlite_errorname", "")
        for code, kind in _OF_CODE.items():
            if name == code or name.startswith(code + "_"):
                return kind  # type: ignore[return-value]
        if name == "SQLITE_ERROR" and "no such table" in str(cause):
            return "damaged"  # a file of length zero, or one that lost its shape
        return "ours"
    if isinstance(cause, OSError):
        return "full" if cause.errno in (errno.ENOSPC, errno.EDQUOT) else "unwritable"
    return "unwritable" if isinstance(cause, MemoryError) else "ours"


def describe_error(error: BaseException) -> str:
    """The cause in a few words for a person."""
    cause = getattr(error, "orig", None) or error
    name = getattr(cause, "sqlite_errorname", "")
    if isinstance(cause, OSError):
        return f"{cause.filename or 'the disk'}: {cause.strerror or cause}"
    return f"{cause}{f' ({name})' if name else ''}"
