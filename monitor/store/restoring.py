"""Puts a copy in the place of a log so that a kill at any moment leaves the one or the other: grown beside it, decided by a note, then
a few renames that the next start goes on with."""
import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from monitor.store import commit_mark, past, set_aside
from monitor.store.all_or_nothing import sync_file, sync_folder, write_text


def note_of(database: Path) -> Path:
    """The note that a restore is decided and not over."""
    return database.with_name(database.name + ".restoring")


def part_of(database: Path) -> Path:
    """Where the present of the copy grows; its sealed days grow in the folder that belongs to it."""
    return database.with_name(f"{database.stem}.restored{database.suffix}")


def put_in_place(copy: Path, database: Path) -> None:
    """Puts a copy that was proved in the place of a log, which is kept beside it under another name.

    Raises
    ------
    sqlite3.Error, OSError : where nothing is decided yet the log is as it was, else the next start goes on
    """
    finish(database)
    part = part_of(database)
    _remove(part)
    try:
        with (closing(sqlite3.connect(f"{copy.resolve().as_uri()}?mode=ro", uri=True)) as source,
              closing(sqlite3.connect(part)) as target):
            source.backup(target)
            target.execute("pragma journal_mode = delete")
            past.unfold(target, past.folder_of(part))
        sync_file(part)
        there = database.exists() or past.folder_of(database).exists()
        note = {"aside": set_aside.free_name(database, "before-restore").name if there else "", "sealed": past.folder_of(part).exists()}
        sync_folder(database.parent)
        write_text(note_of(database), json.dumps(note))
    except BaseException:
        _remove(part)
        raise
    finish(database)


def finish(database: Path) -> None:
    """Goes on with a restore that is decided; nothing where there is none. However often it is begun, the end is the same.

    Raises
    ------
    OSError : the folder cannot be written
    """
    try:
        note = json.loads(note_of(database).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return
    except ValueError:  # torn: it was not decided
        note_of(database).unlink()
        return
    part, sealed = part_of(database), past.folder_of(database)
    if part.exists():
        if note["aside"]:
            _set_aside(database, database.with_name(note["aside"]), keep_sealed=note["sealed"] and not past.folder_of(part).exists())
        if past.folder_of(part).exists():
            past.folder_of(part).rename(sealed)
        for ending in ("-wal", "-shm"):
            database.with_name(database.name + ending).unlink(missing_ok=True)
        commit_mark.forget(database)
        sync_folder(database.parent)
        part.replace(database)
        sync_folder(database.parent)
    note_of(database).unlink()


def _set_aside(database: Path, aside: Path, keep_sealed: bool) -> None:
    """Gives the log that was there its other name. keep_sealed: the sealed days there are the copy's already."""
    for ending in ("-wal", ""):
        file, other = database.with_name(database.name + ending), aside.with_name(aside.name + ending)
        if file.exists() and not other.exists():
            set_aside.second_name(file, other)
    if past.folder_of(database).exists() and not keep_sealed:
        past.folder_of(database).rename(past.folder_of(aside))


def _remove(part: Path) -> None:
    part.unlink(missing_ok=True)
    shutil.rmtree(past.folder_of(part), ignore_errors=True)
