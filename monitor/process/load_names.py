"""Names that the owner gives to loads: kept in the log with what each load was known by, so that it is found again."""
from dataclasses import dataclass

from monitor.battery.label import NamedLoad
from monitor.store import saving
from monitor.usage import run_kinds
from monitor.usage.run_kinds import FoundLoad

#: A name fits beside its figures on a phone (choice).
LONGEST_NAME = 24
#: So many names are kept (choice: more loads than a fuse box has ways).
MOST_NAMES = 20


@dataclass(frozen=True, slots=True)
class LoadNames:
    """All names, as the log keeps them."""

    named: tuple[NamedLoad, ...] = ()


def read(text: str | None) -> tuple[NamedLoad, ...]:
    """What to_text wrote; none where there is no text, or one of another version."""
    try:
        return saving.from_text(LoadNames, text).named if text else ()
    except ValueError:
        return ()


def to_text(named: tuple[NamedLoad, ...]) -> str:
    """The names as the log keeps them."""
    return saving.to_text(LoadNames(named))


def rename(found: tuple[FoundLoad, ...], named: tuple[NamedLoad, ...], number: int, name: str) -> tuple[NamedLoad, ...]:
    """The names with one given, changed, or ("") taken away.

    found: the loads that were found; named: the names so far; number: of the load; name: as its owner calls it

    Raises
    ------
    ValueError : there is no such load, or the name cannot be kept
    """
    load = next((one for one in found if one.number == number), None)
    if load is None:
        raise ValueError(f"there is no load number {number}")
    name = " ".join(name.split())
    if len(name) > LONGEST_NAME or not name.isprintable():
        raise ValueError(f"a name has at most {LONGEST_NAME} letters on one line")
    borne = run_kinds.find_named(found, named)
    if not name and number not in borne:
        raise ValueError(f"load number {number} has no name to take away")
    # A load that bears a name is named anew; the same name may stand for several loads, as a heater's two speeds.
    kept = tuple(one for one, held in zip(named, run_kinds.bearers(found, named), strict=True) if held != number)
    if not name:
        return kept
    if len(kept) >= MOST_NAMES:
        raise ValueError(f"{MOST_NAMES} loads have names; take one away first")
    return (*kept, NamedLoad(name, number, load.current_a, load.run_s))
