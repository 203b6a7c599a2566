"""The folder in memory that a service has under /run: for what needs no card and may be gone after a boot."""
import os
import stat
from collections.abc import Mapping
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

#: Where systemd makes it (RuntimeDirectory= in the daemon's unit): the daemon, the pages and the commands all look there.
SERVICE_FOLDER = Path("/run/ampledger")
#: Another place, for a daemon that is not the service.
NAMED_BY = "AMPLEDGER_RUNTIME_FOLDER"
#: What lies beside a log and belongs to it without carrying its name.
BESIDE = ("requests", "requests-pages", "undelivered.json")


def folder(environment: Mapping[str, str] = os.environ) -> Path | None:
    """The folder, or None where there is none."""
    place = Path(environment.get(NAMED_BY) or SERVICE_FOLDER)
    return place if place.is_dir() else None


def is_ours(environment: Mapping[str, str] = os.environ) -> bool:
    """Whether this process is the one that the folder was made for (RUNTIME_DIRECTORY, systemd.exec(5)), or was told to use it."""
    named = environment.get("RUNTIME_DIRECTORY", "").split(":")
    return bool(environment.get(NAMED_BY)) or str(SERVICE_FOLDER) in named


def file_for(database: Path, ending: str, environment: Mapping[str, str] = os.environ) -> Path | None:
    """The file in that folder that belongs to one log; None where there is no such folder.

    database: the log's file; ending: of the name; environment: where systemd names the folder.
    """
    place = folder(environment)
    if place is None:
        return None
    return place / f"{database.stem}-{sha256(os.path.realpath(database).encode()).hexdigest()[:12]}.{ending}"


def hand_over_below(database: Path) -> None:
    """What root made for a log, hand_over()'s way: files and folders that carry its name, its requests and messages.

    Symbolic links are not followed, and what has a second name somewhere is left alone: the folder may be another's.
    """
    if os.geteuid() != 0:
        return
    folder = database.parent
    try:
        owner = folder.stat()
        if owner.st_uid == 0:
            return
        mine = [e.name for e in os.scandir(folder) if e.name.startswith(database.stem) or e.name in BESIDE]
    except OSError:
        return
    for name in mine:
        _hand_over(folder / name, owner)
        for _, folders, files, at in os.fwalk(folder / name):
            for inner in (*folders, *files):
                _hand_over(inner, owner, at)


def _hand_over(path: str | Path, owner: os.stat_result, at: int | None = None) -> None:
    with suppress(OSError):
        state = os.stat(path, dir_fd=at, follow_symlinks=False)
        if state.st_uid == 0 and (stat.S_ISDIR(state.st_mode) or state.st_nlink == 1):
            os.chown(path, owner.st_uid, owner.st_gid, dir_fd=at, follow_symlinks=False)


def hand_over(path: Path) -> None:
    """What root made goes to the owner of the folder that it is in, so that the service can use it. Never raises."""
    if os.geteuid() != 0:
        return
    try:
        owner = path.parent.stat()
        if (owner.st_uid, owner.st_gid) != (0, 0):
            os.chown(path, owner.st_uid, owner.st_gid, follow_symlinks=False)
    except OSError:
        pass
