"""What is handed to the log at once."""
from dataclasses import dataclass
from typing import Any, Protocol

from monitor.findings import Event
from monitor.sample import Sample
from monitor.store.state import State
from monitor.store.time_labels import Gap, TimeLabel

__all__ = ["AlertRecord", "Batch", "ForecastRow", "Gap", "LoggedMinute", "MinuteRow", "TimeLabel"]


#: a row of the table minutes: its end, its start, then the values
MinuteRow = tuple[int, int, *tuple[int | None, ...]]
#: a row of the table forecasts: its moment, then the values
ForecastRow = tuple[int, *tuple[float | None, ...]]


@dataclass(frozen=True, slots=True)
class LoggedMinute:
    """One minute in rows of the log: of the table minutes, of the table forecasts; the beginning of its day [ms], and
    what was concluded, which the store keeps as it is."""

    row: MinuteRow
    forecast: ForecastRow
    day_ms: int
    found: Any


class AlertRecord(Protocol):
    """What the store must know of an alert; the rest it keeps as it is. Times on the log's line [s]."""

    @property
    def id(self) -> int: ...
    @property
    def state(self) -> str: ...
    @property
    def raised_at_s(self) -> float: ...
    @property
    def cleared_at_s(self) -> float | None: ...
    @property
    def acknowledged_at_s(self) -> float | None: ...


@dataclass(frozen=True, slots=True)
class Batch:
    """Some minutes and what came of them; all of it is committed in one transaction or not at all."""

    samples: tuple[Sample, ...] = ()
    minutes: tuple[LoggedMinute, ...] = ()
    state: State | None = None
    events: tuple[Event, ...] = ()
    alerts: tuple[AlertRecord, ...] = ()
    gaps: tuple[Gap, ...] = ()
    labels: tuple[TimeLabel, ...] = ()

    @property
    def urgent(self) -> bool:
        """Holds what must not wait for the ordinary commit."""
        return bool(self.events or self.alerts or self.labels)
