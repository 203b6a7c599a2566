"""A damaged sealed file: set aside whole, and in its place what can be read of it, with what is missing named in it."""
import os
from contextlib import suppress
from pathlib import Path

from monitor.store import past, segment
from monitor.store.past import KINDS, Past
from monitor.store.salvage import format_moment
from monitor.store.segment import Block, Segment, SegmentDamaged

_WORDS = {"chunks": "raw readings", "cranks": "quick readings of starts", "boots": "time labels", "meta": "words about the log"}
Span = tuple[str, int, int, int]


def mend(folder: Path, kind: str, number: int) -> list[Span]:
    """Puts a file with the sound blocks in the place of a damaged one; returns what is missing.

    The damaged one is kept beside it under another name. Killed at any moment the damaged one is still there, or the new one is.

    Parameters
    ----------
    folder : of the sealed days
    kind, number : which file

    Raises
    ------
    OSError : nothing was changed
    """
    path = past.path_of(folder, kind, number)
    missing = Past(past.FolderFiles(folder)).damage(kind, number)
    if not missing:
        return []
    kept: list[tuple[Block, bytes]] = []
    with suppress(OSError), open(path, "rb") as file:
        opened = Segment(file, path.name)
        for block in opened.blocks:
            with suppress(SegmentDamaged):
                kept.append((block, b"" if block.kind == segment.MISSING else opened.body(block)))
    missing = [span for span in missing if span[1] != span[2] or span[0]]  # else no row is
    for table, first_ms, end_ms, count in missing:
        for name in (table,) if table else KINDS[kind][:1]:
            kept.append((Block(name, segment.MISSING, first_ms, end_ms, count, 0, 0), b""))
    kept.sort(key=lambda pair: (KINDS[kind].index(pair[0].table) if pair[0].table in KINDS[kind] else 99, pair[0].first_ms))
    keep_aside(path)
    segment.write(path, kept)
    return missing


def describe(kind: str, number: int, missing: list[Span]) -> str:
    """A sentence for the owner: what of a sealed day is missing.

    kind: which file of the day; number: of the day; missing: stretches of the log's time [ms].
    """
    gone = "; ".join(f"{_WORDS.get(table, kind)} {format_moment(a)} to {format_moment(b)}" for table, a, b, _ in missing[:6]
                     if table or a != b) or "nothing that was logged"
    return (f"The sealed {kind} of day {number} of the log were damaged. Missing: {gone}. Everything else of that day is brought over; "
            "the damaged file is kept beside it. A second time means: a new card.")


def keep_aside(path: Path) -> Path:
    """Gives a file a second name beside its own, once; returns it.

    Raises
    ------
    OSError : it cannot be linked or copied
    """
    number = 1
    while (aside := path.with_name(f"{path.stem}.damaged-{number}")).exists():
        if aside.samefile(path):
            return aside
        number += 1
    try:
        os.link(path, aside)
    except OSError:  # a file system without second names
        part = aside.with_name(aside.name + ".part")
        part.write_bytes(path.read_bytes())
        os.replace(part, aside)
    return aside
