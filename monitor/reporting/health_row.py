"""One line of what is said of the board and its log."""
from dataclasses import dataclass
from typing import Literal

MEGABYTE = 1e6
#: "-": it cannot be seen from here
Verdict = Literal["ok", "look", "wrong", "-"]


@dataclass(frozen=True, slots=True)
class HealthRow:
    """One line: what it is about, how it is, what was seen, and what to do where it is not well."""

    what: str
    verdict: Verdict
    said: str
    todo: str = ""
