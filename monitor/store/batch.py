"""What is handed to the log at once."""
from dataclasses import dataclass

from monitor.alerts.rules import Alert
from monitor.findings import Event
from monitor.sample import Sample
from monitor.store.rows import LoggedMinute
from monitor.store.state import State
from monitor.store.time_labels import Gap, TimeLabel

__all__ = ["Batch", "Gap", "TimeLabel"]


@dataclass(frozen=True, slots=True)
class Batch:
    """Some minutes and what came of them; all of it is committed in one transaction or not at all."""

    samples: tuple[Sample, ...] = ()
    minutes: tuple[LoggedMinute, ...] = ()
    state: State | None = None
    events: tuple[Event, ...] = ()
    alerts: tuple[Alert, ...] = ()
    gaps: tuple[Gap, ...] = ()
    labels: tuple[TimeLabel, ...] = ()

    @property
    def urgent(self) -> bool:
        """Holds what must not wait for the ordinary commit."""
        return bool(self.events or self.alerts or self.labels)
