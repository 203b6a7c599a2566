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
class Testimony:
    """One witness's word: at the moment at_s of a boot it was at_s + utc_offset_s in UTC, give or take sigma_s."""

    at_s: float
    boot_id: str
    utc_offset_s: float
    sigma_s: float
    source: str


@dataclass(frozen=True, slots=True)
class Heard:
    """All witnesses that are kept in mind, as they are saved, in the order in which they spoke."""

    witnesses: tuple[Testimony, ...]


@dataclass(frozen=True, slots=True)
class LastRow:
    """Where the log ended: its last moment, its labels, oldest first, and the witnesses behind them."""

    at_s: float
    boot_offset_s: float  # at_s minus seconds since boot, in the boot named by the last label
    labels: tuple[TimeLabel, ...]
    heard: tuple[Testimony, ...] | None = None  # None in a log that kept none
    written_utc_s: float | None = None  # when its file was last written, by the wall clock of then


@dataclass(frozen=True, slots=True)
class Gap:
    """A time in which one quantity was not measured; until_s is None while it lasts."""

    quantity: str
    reason: str
    from_s: float
    until_s: float | None
    count: int
