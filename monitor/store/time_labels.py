"""How a stretch of time is labelled, and what was not measured in it: shapes that cost no import."""
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class TimeLabel:
    """From at_s on, UTC is at_s + utc_offset_s, give or take utc_sigma_s; and the silence before it."""

    at_s: float
    boot_id: str
    utc_offset_s: float
    utc_sigma_s: float
    utc_trusted: bool
    source: str
    gap_s: float = 0.0
    gap_doubt_s: float = 0.0
    boot_offset_s: float = 0.0  # at_s minus the seconds since that boot


@dataclass(frozen=True, slots=True)
class LastRow:
    """Where the log ended: its last moment, and the labels from the last trusted one on, oldest first."""

    at_s: float
    boot_offset_s: float  # at_s minus seconds since boot, in the boot named by the last label
    labels: tuple[TimeLabel, ...]


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which one quantity was not measured; until_s is None while it lasts."""

    quantity: str
    reason: str
    from_s: float
    until_s: float | None
    count: int
