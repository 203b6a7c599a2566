"""What the pages' process needs of the configuration, and no more: its user can read neither that file nor the secrets in it."""
import json
import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

from monitor.config.load import Config

#: What root puts into the folder of the pages' user.
SETTINGS, CODE, CERTIFICATE, KEY = "pages.json", "code", "certificate.pem", "key.pem"


def settings_of(config: Config) -> dict[str, Any]:
    """How to serve, with the files that hold the code's hash, certificate and key."""
    table = config.dashboard
    # the hash goes by a file, so that it does not show in the list of processes
    files = {CODE: config.path if table.code_hash is not None else None, CERTIFICATE: table.certificate_file, KEY: table.key_file}
    return {"database": str(config.log.database), "address": table.address, "names": table.names, "code_to_read": table.code_to_read,
            **{name: str(file) for name, file in files.items() if file is not None}}


def prepare(config: Config, folder: Path) -> None:
    """Puts all of it into a folder of another user's, readable by that user alone; follows nothing that was planted there.

    Raises
    ------
    OSError : a file cannot be read, or not be put there
    """
    settings = settings_of(config)
    contents = {name: Path(settings[name]).read_bytes() for name in (CODE, CERTIFICATE, KEY) if name in settings}
    if CODE in contents:
        contents[CODE] = f"{config.dashboard.code_hash}\n".encode()
    contents[SETTINGS] = json.dumps(settings | {name: name for name in contents}).encode()
    place = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        owner = os.fstat(place)
        for name in (SETTINGS, CODE, CERTIFICATE, KEY):
            with suppress(FileNotFoundError):
                os.unlink(name, dir_fd=place)
            if name in contents:
                file = os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o400, dir_fd=place)
                with open(file, "wb") as opened:
                    opened.write(contents[name])
                    os.fchown(file, owner.st_uid, owner.st_gid)
    finally:
        os.close(place)


def read(folder: Path) -> dict[str, Any]:
    """What was put there. Raises OSError, ValueError."""
    found: dict[str, Any] = json.loads((folder / SETTINGS).read_text(encoding="utf-8"))
    return found


def serve(settings: dict[str, Any], folder: Path) -> NoReturn:
    """Becomes the pages' process; names of files count from the folder."""
    arguments = [sys.executable, "-m", "dashboard", "--database", settings["database"], "--address", settings["address"]]
    for name, option in ((CODE, "--code-file"), (CERTIFICATE, "--certificate"), (KEY, "--key")):
        if name in settings:
            arguments += [option, str(folder / settings[name])]
    if settings["code_to_read"]:
        arguments.append("--code-to-read")
    for name in settings["names"]:
        arguments += ["--name", name]
    os.execv(sys.executable, arguments)
