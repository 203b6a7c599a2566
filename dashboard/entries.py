"""The owner's entries as pages list them, and the one that a page offers to undo."""
from collections.abc import Iterable
from dataclasses import dataclass

from flask import request

from dashboard.words import clock_text
from monitor.logbook.reader import Entry


@dataclass(frozen=True, slots=True)
class EntryLine:
    """One of the owner's entries. undone is "" while it stands."""

    id: int
    when: str
    by: str
    said: str
    undone: str


def list_entries(entries: Iterable[Entry]) -> list[EntryLine]:
    """What the owner told, in the order given: when, by whom, what, and whether it was undone."""
    return [EntryLine(e.id, clock_text(e.utc_s), e.by or "somebody", e.said, "" if e.undone_utc_s is None else
                      f"undone {clock_text(e.undone_utc_s)} by {e.undone_by or 'somebody'}") for e in entries]


def undoable() -> int | None:
    """Number of the entry that was just made, by the address of the page, which offers to undo it."""
    number = request.args.get("entry", "")
    return int(number) if number.isascii() and number.isdecimal() and len(number) < 10 else None
