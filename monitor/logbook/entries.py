"""What the owner told the daemon, entry by entry: who, when, what, and what was there before, so that it can be undone."""
from dataclasses import dataclass, replace
from typing import TypeVar

from monitor.store import saving
from monitor.wear.battery_history import BatteryHistory

Told = TypeVar("Told")
#: So many are kept; older ones stand in the events and can no longer be undone.
KEPT = 60
#: Event that tells of an entry that was undone; its figures name the entry and the moment of the entry's own event.
UNDONE = "entry_undone"


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry. subject: what it is about; of a subject only the latest entry can be undone. Moments are UTC seconds.

    at_s is the log's time of the event that tells of it; before is what was there before, by name, as text.
    """

    id: int
    kind: str
    subject: str
    at_s: float
    utc_s: float
    by: str
    said: str
    before: tuple[tuple[str, str], ...] = ()
    undone_utc_s: float | None = None
    undone_by: str = ""


@dataclass(frozen=True, slots=True)
class Entries:
    """All entries that are kept, oldest first."""

    next_id: int = 1
    rows: tuple[Entry, ...] = ()


def read(text: str | None) -> Entries:
    """What saving.to_text wrote; nothing where there is no text, or one of another version."""
    return _read(Entries, text)


def read_batteries(text: str | None) -> BatteryHistory:
    """The same of the batteries that the owner told of."""
    return _read(BatteryHistory, text)


def _read(kind: type[Told], text: str | None) -> Told:
    try:
        return saving.from_text(kind, text) if text else kind()
    except ValueError:
        return kind()


def add_entry(entries: Entries, entry: Entry) -> Entries:
    """With one more, which gets the next number."""
    return Entries(entries.next_id + 1, (*entries.rows, replace(entry, id=entries.next_id))[-KEPT:])


def find_undoable(entries: Entries, number: int) -> Entry:
    """The entry of a number, where it can be undone.

    Raises
    ------
    ValueError : there is none, it is undone already, or a later one about the same thing comes first
    """
    entry = next((e for e in entries.rows if e.id == number), None)
    if entry is None:
        raise ValueError(f"there is no entry number {number}")
    if entry.undone_utc_s is not None:
        raise ValueError(f"entry {number} is undone already" + (f", by {entry.undone_by}" if entry.undone_by else ""))
    later = [e.id for e in entries.rows if e.subject == entry.subject and e.id > number and e.undone_utc_s is None]
    if later:
        raise ValueError(f"entry {later[-1]} came after it and is about the same; undo that first")
    return entry


def mark_undone(entries: Entries, number: int, utc_s: float, by: str) -> Entries:
    """With one entry marked as undone, when and by whom.

    entries: what the owner asked so far; number: of the entry; utc_s: when, UTC [s]; by: who.
    """
    return replace(entries, rows=tuple(replace(e, undone_utc_s=utc_s, undone_by=by) if e.id == number else e for e in entries.rows))
