"""The one way other processes ask something of the daemon: small JSON files in folders of fixed ownership, each naming who asked."""
import json
import logging
import os
import pwd
import secrets
import stat
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from monitor.store import answers, runtime

log = logging.getLogger("ampledger.requests")

#: kind -> what it carries. `for_s` and `minutes` count from when the daemon takes the request up.
KINDS: dict[str, dict[str, type | tuple[type, ...]]] = {
    "acknowledge": {"alert": int},
    "shelve": {"alert": int, "for_s": (int, float)},
    "battery_replaced": {"battery": str, "rated_capacity_ah": (int, float, type(None)), "label": str, "chemistry": (str, type(None)),
                         "at_utc_s": (int, float, type(None))},
    "battery_described": {"battery": str, "label": (str, type(None)), "installed_utc_s": (int, float, type(None))},
    "capacity_tested": {"capacity_ah": (int, float), "low_ah": (int, float), "high_ah": (int, float), "reached_end": int,
                        "ended_utc_s": (int, float), "sigma_ln": (int, float)},
    "begin_capacity_test": {"stop_v": (int, float, type(None)), "to_reserve": int},
    "end_capacity_test": {},
    "test_alerts": {},
    "name_load": {"load": int, "name": str},
    "calibrate_zero": {"minutes": (int, float)},
    "calibrate_gain": {"meter_a": (int, float), "digit_a": (int, float), "limit_frac": (int, float), "minutes": (int, float)},
    "calibrate_divider": {"battery": str, "meter_v": (int, float), "digit_v": (int, float), "limit_frac": (int, float)},
    "calibrate_direction": {"discharging": int},
    "identify_by_start": {},
    "relearn": {},
    "undo": {"entry": int},
    "set_clock": {"utc_s": (int, float), "sigma_s": (int, float), "asked_boot_s": (int, float), "sure": int},
}
#: A request has a few hundred bytes; what is larger is none (choice).
LARGEST_BYTES = 4096
#: Taken up at one beat, so that a flood of them does not hold it up (choice).
MOST = 100
#: Two doors, so that the pages cannot pass for a person: the folder for people's commands, and the one for the pages.
PEOPLE, PAGES = "requests", "requests-pages"
#: What a user's number shows as where the service's own user namespace does not know it (user_namespaces(7)).
UNKNOWN_UID = 65534
#: A name fits on a line of a phone (choice).
LONGEST_NAME = 60


@dataclass(frozen=True, slots=True)
class Request:
    """Something asked of the daemon, and by whom. answer_at: where somebody waits for the answer, None: nobody does."""

    kind: str
    values: dict[str, Any]
    by: str = ""
    answer_at: Path | None = field(default=None, compare=False)


def folder_of(database: Path) -> Path:
    """The door for people's commands beside a log."""
    return database.parent / PEOPLE


def doors(database: Path, *, pages: bool = False) -> tuple[Path, ...]:
    """Folders to leave a request in, the best first: in memory where the log's daemon is the service, else beside the log."""
    name = PAGES if pages else PEOPLE
    lock, memory = runtime.file_for(database, "lock"), runtime.folder()
    beside = database.parent / name
    if memory is not None and lock is not None and lock.exists() and (memory / name).is_dir():
        return memory / name, beside
    return (beside,)


def ask(folders: Sequence[Path], kind: str, by: str = "", waits: bool = False, **values: Any) -> Path:
    """Leaves a request in the first folder that takes it (`doors`). Returns the file.

    folders : the best first
    kind, values : what is asked (`KINDS`)
    by : who asks, in words
    waits : whether somebody waits for the answer (`answers.wait_for`)

    Raises
    ------
    ValueError : no such kind of request, or not with these values
    OSError : none of the folders can be written
    """
    for folder in folders[:-1]:
        try:
            return leave(folder, kind, by, waits, **values)
        except OSError as error:
            log.debug("%s: %s", folder, error)
    return leave(folders[-1], kind, by, waits, **values)


def keep(request: Path, folders: Sequence[Path]) -> bool:
    """Moves a request that nobody took up to where it outlives a stop of the daemon; whether it waits there now.

    False: it was taken up meanwhile, or cannot be moved and waits where it was.
    """
    if request.parent == folders[-1]:
        return request.exists()
    try:
        text = request.read_bytes()
        request.unlink()
        _put(folders[-1], text.decode())
    except OSError:
        return False
    return True


def leave(folder: Path, kind: str, by: str = "", waits: bool = False, **values: Any) -> Path:
    """Leaves a request; it is there whole or not at all. Returns the file.

    by : who asks, in words; the user who runs this, if not given
    waits : whether somebody waits for the answer
    folder : where to
    kind : of request (`KINDS`)
    values : what it carries

    Raises
    ------
    ValueError : no such kind of request, or not with these values
    OSError : the folder cannot be made or written
    """
    text = json.dumps({"kind": kind, "values": values, "by": by or _user(os.geteuid()) or "somebody", **({"waits": True} if waits else {})},
                      allow_nan=False)
    _parse(text.encode())
    return _put(folder, text)


def _put(folder: Path, text: str) -> Path:
    if not folder.exists():
        folder.mkdir(parents=True, exist_ok=True)
        runtime.hand_over(folder)
    name = f"{time.time_ns():020d}-{secrets.token_hex(4)}"
    hidden = folder / f".{name}"
    with open(hidden, "x", encoding="utf-8") as file:
        os.fchmod(file.fileno(), 0o644)  # the daemon is another user; nobody else can come into the folder
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    return hidden.rename(folder / f"{name}.json")


class Doors:
    """The daemon's end: takes what was left in any of the folders of a log."""

    def __init__(self, database: Path) -> None:
        memory = runtime.folder() if runtime.is_ours() else None
        self._folders = tuple((place / name, name == PAGES) for place in (memory, database.parent) if place is not None
                              for name in (PEOPLE, PAGES))
        self._done: dict[str, None] = {}
        self._answers = answers.Answers()
        for folder, _ in self._folders:
            answers.clear_left(folder)

    def answer(self, request: Request, done: bool, said: str, entry: int | None = None) -> None:
        """Tells whoever waits for it what became of a request; nothing where nobody waits. Never raises.

        done : whether it was carried out; said : in a sentence; entry : number of the owner's entry that it made
        request : the one that was taken
        """
        if request.answer_at is not None:
            self._answers.give(request.answer_at, answers.Answer(done, said, entry))

    def take(self) -> list[Request]:
        """Everything that was left, oldest first, and the files gone. What cannot be understood is logged and gone.

        A request may be taken up twice after a power cut; each kind is harmless when repeated. Where a file cannot be
        removed, it is taken up once in a run.
        """
        found: list[Request] = []
        self._answers.clear()
        for folder, pages in self._folders:
            try:
                with os.scandir(folder) as entries:
                    names = sorted(e.name for e in entries if e.name.endswith(".json") and not e.name.startswith("."))
            except OSError:
                continue
            for name in [n for n in names if f"{folder}/{n}" not in self._done][:MOST]:
                self._one(folder / name, pages, found)
        return found

    def _one(self, file: Path, pages: bool, found: list[Request]) -> None:
        try:
            found.append(_read(file, pages))
        except (ValueError, OSError) as error:
            log.warning("request %s is not understood and dropped: %s", file.name, error)
        try:
            file.unlink()
        except OSError as error:
            log.warning("request %s cannot be removed: %s", file.name, error.strerror)
            self._done[str(file)] = None
            while len(self._done) > 10 * MOST:
                del self._done[next(iter(self._done))]


def take(folder: Path) -> list[Request]:
    """Everything that was left in the folder beside a log, as Doors.take does."""
    return Doors(folder.parent / "log").take()


def _read(file: Path, pages: bool) -> Request:
    """A request whose file is a plain one: whoever may leave files must not make the daemon wait at a pipe, or read another's."""
    opened = os.open(file, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    try:
        state = os.fstat(opened)
        if not stat.S_ISREG(state.st_mode) or state.st_nlink != 1:
            raise ValueError("not a plain file")
        request = _parse(os.read(opened, LARGEST_BYTES + 1))
    finally:
        os.close(opened)
    return Request(request.kind, request.values, _asker(state.st_uid, pages, request.by),
                   answers.place_for(file) if request.answer_at is not None else None)


def _asker(uid: int, pages: bool, said: str) -> str:
    """Who asked, by the door and by the owner of the file; what it says itself counts where that is not known, and for
    the pages' visitor."""
    if pages:
        return f"the pages ({said})" if said else "the pages"
    return said or "somebody" if uid == UNKNOWN_UID else _user(uid) or f"user {uid}"


def _user(uid: int) -> str:
    try:
        return pwd.getpwuid(uid).pw_name
    except KeyError:
        return ""


def _parse(text: bytes) -> Request:
    if len(text) > LARGEST_BYTES:
        raise ValueError(f"longer than {LARGEST_BYTES} bytes")
    try:
        plain = json.loads(text)
    except RecursionError as error:
        raise ValueError("nested too deep") from error
    if not isinstance(plain, dict) or not isinstance(plain.get("values"), dict) or not isinstance(plain.get("kind"), str):
        raise ValueError("not an object with kind and values")
    kind, values, by = plain["kind"], plain["values"], plain.get("by", "")
    if not isinstance(by, str) or len(by) > LONGEST_NAME or not by.isprintable():
        raise ValueError(f"by is no name: {by!r:.40}")
    if kind not in KINDS:
        raise ValueError(f"no request of kind {kind!r:.40}; there are {', '.join(KINDS)}")
    for name, value in values.items():
        if name not in KINDS[kind] or isinstance(value, bool) or not isinstance(value, KINDS[kind][name]):
            raise ValueError(f"{kind} does not take {name} = {value!r:.40}")
        if isinstance(value, float) and abs(value) == float("inf"):
            raise ValueError(f"{name} is not a finite number")
    return Request(kind, values, by, Path() if plain.get("waits") is True else None)
