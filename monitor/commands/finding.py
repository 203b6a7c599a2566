"""One thing that doctor looked at."""
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing looked at. verdict: ok, LOOK, WRONG, or - where it could not be seen from here."""

    what: str
    verdict: str
    said: str
    todo: str = ""
