"""The folder in memory that a service has under /run: for what needs no card and may be gone after a boot."""
import os
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path

#: Where systemd makes it (RuntimeDirectory= in the daemon's unit): the daemon, the pages and the commands all look there.
SERVICE_FOLDER = Path("/run/ampledger")
#: Another place, for a daemon that is not the service.
NAMED_BY = "AMPLEDGER_RUNTIME_FOLDER"


def folder(environment: Mapping[str, str] = os.environ) -> Path | None:
    """The folder, or None where there is none."""
    place = Path(environment.get(NAMED_BY) or SERVICE_FOLDER)
    return place if place.is_dir() else None


def file_for(database: Path, ending: str, environment: Mapping[str, str] = os.environ) -> Path | None:
    """The file in that folder that belongs to one log; None where there is no such folder."""
    place = folder(environment)
    if place is None:
        return None
    return place / f"{database.stem}-{sha256(os.path.realpath(database).encode()).hexdigest()[:12]}.{ending}"


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
