"""A log that is set aside under another name beside itself: the names, the note of a salvage that is not over, second names."""
import json
import os
import shutil
from contextlib import suppress
from pathlib import Path
from typing import Any

from monitor.store import past
from monitor.store.all_or_nothing import new_file


def part_of(database: Path) -> Path:
    """Where the new log grows."""
    return database.with_name(database.name + ".salvage")


def note_of(database: Path) -> Path:
    """The note that a salvage is not over."""
    return database.with_name(database.name + ".salvaging")


def kept_wal_of(database: Path) -> Path:
    """The second name of a write-ahead log while it is not known yet whether all of it is whole."""
    return database.with_name(database.name + ".kept-wal")


def keep_wal(database: Path) -> bool:
    """Gives a write-ahead log a second name before SQLite opens it: SQLite takes of it what comes before the first damage and
    drops the rest. Returns whether there is one.

    Raises
    ------
    OSError : the folder cannot be written
    """
    wal, kept = database.with_name(database.name + "-wal"), kept_wal_of(database)
    if wal.exists() and wal.stat().st_size:
        kept.unlink(missing_ok=True)
        second_name(wal, kept)
    return kept.exists()


def why_unfinished(database: Path) -> str:
    """Why a salvage was begun that is not over, or ""."""
    note = read_note(database)
    if note is None:
        return ""
    if note.get("stage") == "in place" and not part_of(database).exists():
        with suppress(OSError):
            note_of(database).unlink(missing_ok=True)
        return ""
    return str(note.get("why", "a salvage was interrupted"))


def free_name(database: Path, word: str) -> Path:
    """A name beside a log that neither another log nor its sealed days have. word: why it is set aside."""
    number = 1
    while (aside := database.with_name(f"{database.stem}.{word}-{number}{database.suffix}")).exists() or past.folder_of(aside).exists():
        number += 1
    return aside


def second_name(file: Path, other: Path) -> None:
    """Gives a file another name besides its own.

    Raises
    ------
    OSError : it cannot be linked or copied
    """
    try:
        os.link(file, other)
    except OSError:  # a file system without second names: a copy, whole or not at all
        with open(file, "rb") as source, new_file(other) as target:
            shutil.copyfileobj(source, target, 1 << 20)


def read_note(database: Path) -> dict[str, Any] | None:
    """The note of a salvage: {} where it cannot be read, None where there is none."""
    try:
        found = json.loads(note_of(database).read_text(encoding="utf-8"))
        return found if isinstance(found, dict) else {}
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        return {}


def companions(database: Path) -> tuple[Path, ...]:
    """The files that SQLite keeps beside a log."""
    return tuple(database.with_name(database.name + ending) for ending in ("-wal", "-shm"))
