"""What is handed to the log at once, and the moments and mistakes it records."""
from dataclasses import dataclass

from monitor.alerts.rules import Alert
from monitor.findings import Event
from monitor.sample import Sample
from monitor.store.rows import Lived
from monitor.store.state import State


@dataclass(frozen=True, slots=True)
class Label:
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
class Gap:
    """A time in which one quantity was not measured; until_s is None while it lasts."""

    quantity: str
    reason: str
    from_s: float
    until_s: float | None
    count: int


@dataclass(frozen=True, slots=True)
class Batch:
    """Some minutes and what came of them; all of it is committed in one transaction or not at all."""

    samples: tuple[Sample, ...] = ()
    minutes: tuple[Lived, ...] = ()
    state: State | None = None
    events: tuple[Event, ...] = ()
    alerts: tuple[Alert, ...] = ()
    gaps: tuple[Gap, ...] = ()
    labels: tuple[Label, ...] = ()

    @property
    def urgent(self) -> bool:
        """Holds what must not wait for the ordinary commit."""
        return bool(self.events or self.alerts or self.labels)
