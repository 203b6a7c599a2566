"""What became of a request, told back to whoever waits for it: a small file beside the request, by the daemon's hand."""
import json
import os
import time
from collections import deque
from dataclasses import dataclass
from pathlib import Path

ENDING = ".answer"
#: So long an answer stays for whoever waits [s]; nobody waits longer than a part of it.
STAYS_S = 120.0
#: Between two looks for an answer [s].
LOOK_S = 0.1
#: Longer files are not read (choice: many times the longest sentence).
LARGEST_BYTES = 8192


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a request. entry: number of the owner's entry that it made (what `undo` takes), None where it made none."""

    done: bool
    said: str
    entry: int | None = None


def place_for(request: Path) -> Path:
    """Where the answer to a request is put."""
    return request.with_suffix(ENDING)


class Answers:
    """The daemon's end: gives answers, and clears them away when nobody can be waiting any more. Never raises."""

    def __init__(self) -> None:
        self._given: deque[tuple[float, Path]] = deque()

    def give(self, place: Path, answer: Answer) -> None:
        """Puts an answer where somebody waits for it, whole or not at all."""
        hidden = place.with_name(f".{place.name}.new")
        try:
            opened = os.open(hidden, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o644)
            with open(opened, "w", encoding="utf-8") as file:
                os.fchmod(file.fileno(), 0o644)  # who asked is another user, and nobody else knows its name
                json.dump({"done": answer.done, "said": answer.said, "entry": answer.entry}, file)
            hidden.rename(place)
        except OSError:
            return  # the wish is done all the same, and an event says so
        self._given.append((time.monotonic(), place))

    def clear(self) -> None:
        """Removes answers that nobody has waited for any longer."""
        while self._given and time.monotonic() - self._given[0][0] > STAYS_S:
            _, place = self._given.popleft()
            place.unlink(missing_ok=True)


def clear_left(folder: Path) -> None:
    """Removes answers that an earlier run left in a folder. Never raises."""
    try:
        for entry in os.scandir(folder):
            if entry.name.endswith((ENDING, f"{ENDING}.new")):
                os.unlink(entry.path)
    except OSError:
        return


def wait_for(request: Path, bound_s: float) -> Answer | None:
    """The answer to a request; None where there is none within the bound [s]."""
    place, end_s = place_for(request), time.monotonic() + bound_s
    while True:
        try:
            opened = os.open(place, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
            with open(opened, "rb") as file:
                plain = json.loads(file.read(LARGEST_BYTES))
            entry = plain.get("entry")
            return Answer(bool(plain["done"]), str(plain["said"]), entry if isinstance(entry, int) else None)
        except FileNotFoundError:
            pass
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None
        if time.monotonic() >= end_s:
            return None
        time.sleep(LOOK_S)
