"""Changes that are there whole or not at all: a transaction of the log, a file beside it."""
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any


@contextmanager
def transaction(sql: Callable[..., Any]) -> Iterator[None]:
    """All statements within it, or none. sql: runs a statement on a connection that commits each by itself."""
    sql("begin immediate")
    try:
        yield
        sql("commit")
    except BaseException:
        with suppress(Exception):  # SQLite may have done it by itself
            sql("rollback")
        raise


@contextmanager
def new_file(path: Path) -> Iterator[IO[bytes]]:
    """A file to write: under another name, then on the disk, then in its place by one rename. The folder's names are left to the caller.

    Raises
    ------
    OSError : nothing has that name that had not before
    """
    part = path.with_name(path.name + ".part")
    try:
        with open(part, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except BaseException:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        raise


def write_text(path: Path, text: str) -> None:
    """Puts a text in the place of a file, with its name on the disk.

    Raises
    ------
    OSError : the file is as it was
    """
    with new_file(path) as file:
        file.write(text.encode())
    sync_folder(path.parent)


def sync_file(path: Path) -> None:
    """Brings what another wrote into a file to the disk.

    Raises
    ------
    OSError : it cannot
    """
    with open(path, "rb") as file:
        os.fsync(file.fileno())


def make_folder(folder: Path) -> None:
    """Makes a folder, and those above it, each with its name on the disk: what is in it would be lost with the name.

    Raises
    ------
    OSError : it cannot
    """
    if not folder.is_dir():
        make_folder(folder.parent)
        folder.mkdir(exist_ok=True)
        sync_folder(folder.parent)


def sync_folder(folder: Path) -> None:
    """Brings a folder's names to the disk.

    Raises
    ------
    OSError : it cannot
    """
    number = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(number)
    finally:
        os.close(number)
