"""Answers out of the log that are kept while they hold: until it is written again, or, of hours that are over, for longer."""
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, Protocol, TypeVar

from monitor.logbook.reader import Reader, live_file_of

#: What the log looked like when it was asked: inode, size and time of each of its files.
Signature = tuple[tuple[int, int, int] | None, ...]
T = TypeVar("T")
#: Of hours that are kept, so much at the end is read again: an hour may still grow, or come late [s].
READ_AGAIN_S = 2 * 86400.0


class Over(Protocol):
    """Anything that has come to an end."""

    @property
    def end_utc_s(self) -> float: ...


Ended = TypeVar("Ended", bound=Over)


class MemoizedAnswers:
    """Answers that hold until the log is written again, so that a poll between two minutes costs nothing.

    Two threads may both ask anew; either answer is right.
    """

    def __init__(self) -> None:
        self._held: tuple[object, dict[str, Any]] = (None, {})
        self._steady: dict[str, tuple[object, Any]] = {}

    def get(self, signature: Signature, name: str, ask: Callable[[], T]) -> T:
        """The answer kept under a name, asked for anew where the files have changed since.

        signature: of the log, from before it was opened; name: what the answer is kept under; ask: works it out.
        """
        held, answers = self._held
        if held != signature:
            answers = {}
            self._held = (signature, answers)
        if name not in answers:
            answers[name] = ask()
        return answers[name]

    def while_same(self, name: str, stamp: object, ask: Callable[[], T]) -> T:
        """The answer kept under a name for as long as its stamp is the same.

        name: what the answer is kept under; stamp: what it hangs on; ask: works it out.
        """
        held, answer = self._steady.get(name, (None, None))
        if held != stamp:
            answer = ask()
            self._steady[name] = (stamp, answer)
        return answer

    def growing(self, name: str, stamp: object, from_utc_s: float, ask: Callable[[float], Iterable[Ended]]) -> list[Ended]:
        """Stretches of the log since a moment, oldest first, of which only the latest are read again.

        name: what they are kept under; stamp: the log's file and its clocks, with which all of it changes; from_utc_s: since when,
        UTC [s]; ask: reads those that end after a moment.
        """
        held, kept = self._steady.get(name, (None, (0.0, [])))
        begins, before = kept
        if held != stamp or from_utc_s < begins or not before:
            found = list(ask(from_utc_s))
        else:
            again_s = before[-1].end_utc_s - READ_AGAIN_S
            found = [one for one in before if from_utc_s <= one.end_utc_s < again_s]
            found += ask(max(again_s, from_utc_s))
        self._steady[name] = (stamp, (from_utc_s, found))
        return found


def signature_of(database: Path) -> Signature:
    """What changes whenever the log is written: size and time of the file and of what waits beside it."""
    found: list[tuple[int, int, int] | None] = []
    for path in (database, database.with_name(database.name + "-wal"), live_file_of(database) or database):
        try:
            state = path.stat()
            found.append((state.st_ino, state.st_size, state.st_mtime_ns))
        except OSError:
            found.append(None)
    return tuple(found)


def stamp_of(signature: Signature, reader: Reader) -> object:
    """What changes where the whole log does: another file, or another clock."""
    return (signature[0] and signature[0][0], reader.labels())
