"""Where the documentation lies on this machine: in a checkout, in the package, or where a wheel put it."""
import sys
from pathlib import Path

#: Of a checkout; of Debian's package; of a virtual environment.
PLACES = (Path(__file__).parent.parent / "docs", Path("/usr/share/doc/ampledger/docs"), Path(sys.prefix) / "share/doc/ampledger")


#: The shelves: heading -> the documents on it, in the order of reading. What stands on none is reference.
SHELVES = {
    "For travellers": ("guide", "how-full", "tonight", "starter-watch", "starting-help", "parked", "buying", "dashboard"),
    "For electricians": ("job-sheet", "wiring", "install", "commissioning", "network"),
    "Reference": (),
    "Research notes": ("how-it-works", "estimation", "starter-watch-notes", "tonight-notes", "health", "planning", "battery-life",
                       "blind-alleys", "reliability", "simulated-vehicle"),
}


def folder() -> Path | None:
    """The folder that holds the documents; None where they were left out."""
    return next((place for place in PLACES if (place / "install.md").exists()), None)


def names() -> list[str]:
    """Every document, without its ending."""
    place = folder()
    return sorted(file.stem for file in place.glob("*.md")) if place is not None else []


def shelves() -> dict[str, list[str]]:
    """Every document, by shelf."""
    placed = {name for row in SHELVES.values() for name in row}
    there = names()
    return {heading: [name for name in row if name in there] or [name for name in there if name not in placed]
            for heading, row in SHELVES.items()}


def read(name: str) -> str:
    """The text of a document, in Markdown.

    Raises
    ------
    KeyError : there is none of that name
    """
    place = folder()
    if place is None or name not in names():
        raise KeyError(name)
    return (place / f"{name}.md").read_text(encoding="utf-8")


def pictures() -> list[str]:
    """The guide's pictures, without their ending; others are too heavy for a phone."""
    place = folder()
    return sorted(file.stem for file in place.glob("guide-*.png")) if place is not None else []


def read_picture(name: str) -> bytes:
    """A picture (PNG).

    Raises
    ------
    KeyError : there is none of that name
    """
    place = folder()
    if place is None or name not in pictures():
        raise KeyError(name)
    return (place / f"{name}.png").read_bytes()


def title(name: str) -> str:
    """A document's own heading."""
    return read(name).partition("\n")[0].lstrip("# ").strip()
