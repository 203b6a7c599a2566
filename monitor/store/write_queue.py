"""What waits to be written: rows in memory, bounded, thinned in a stated order while the log cannot be written."""
from typing import Any

from monitor.findings import Event
from monitor.store import chunks
from monitor.store.batch import AlertRecord, Batch, ForecastRow, Gap, MinuteRow, TimeLabel
from monitor.store.columns import milliseconds
from monitor.store.sample_rows import SampleRow, sample_row
from monitor.store.state import State

HOUR_MS = 3_600_000
#: Beyond so many raw rows the oldest hour is packed: 8 kB in place of 1.5 MB.
LOOSE_ROWS = 7200
#: What is kept while the log cannot be written; beyond it the oldest go first. Alerts and state never go.
KEPT_HOURS, KEPT_MINUTES, KEPT_EVENTS, KEPT_GAPS = 14 * 24, 3 * 1440, 2000, 2000


class WriteQueue:
    """Rows, in order, that the next transaction writes. Not safe between threads: the writer locks."""

    def __init__(self) -> None:
        self.samples: list[SampleRow] = []
        self.chunks: list[tuple[int, int, int, int, bytes]] = []
        self.cranks: list[tuple[int, Any]] = []
        self.minutes: list[MinuteRow] = []
        self.forecasts: list[ForecastRow] = []
        self.days: dict[int, int] = {}  # start -> latest end, both in ms
        self.events: list[Event] = []
        self.alerts: dict[int, AlertRecord] = {}
        self.gaps: dict[tuple[float, str], Gap] = {}
        self.labels: dict[int, TimeLabel] = {}
        self.state: State | None = None
        self.found: Any = None
        self.urgent = False
        self.dropped = 0

    def __bool__(self) -> bool:
        return bool(self.samples or self.minutes or self.events or self.alerts or self.gaps or self.labels
                    or self.chunks or self.state)

    @property
    def span_s(self) -> float:
        """Seconds of life that a power cut would cost now."""
        return (self.minutes[-1][0] - self.minutes[0][1]) / 1000 if self.minutes else 0.0

    @property
    def latest_ms(self) -> int | None:
        """The latest moment of anything that waits."""
        ends = [*(row[0] for row in self.samples[-1:]), *(row[0] for row in self.minutes[-1:])]
        return max(ends, default=None)

    def shed(self) -> int:
        """Lets go of the rows, keeps alerts, events and state; returns how many went."""
        count = len(self.samples) + len(self.minutes) + len(self.chunks)
        self.samples, self.minutes, self.chunks, self.cranks, self.forecasts, self.days = [], [], [], [], [], {}
        return count

    def forget_dropped(self) -> int:
        """How many rows were too many, once."""
        count, self.dropped = self.dropped, 0
        return count

    def add(self, batch: Batch) -> None:
        """Takes a batch in."""
        self.samples += [sample_row(s) for s in batch.samples]
        self.cranks += [(milliseconds(s.at_s), s.fast_starter) for s in batch.samples if s.fast_starter]
        for logged in batch.minutes:
            if not self.forecasts or logged.row[0] // HOUR_MS != self.forecasts[-1][0] // HOUR_MS:
                self.forecasts.append(logged.forecast)
            self.minutes.append(logged.row)
            self.days[logged.day_ms] = logged.row[0]
            self.found = logged.found
        self.events += batch.events
        self.alerts |= {alert.id: alert for alert in batch.alerts}
        self.gaps |= {(gap.from_s, gap.quantity): gap for gap in batch.gaps}
        self.labels |= {milliseconds(label.at_s): label for label in batch.labels}
        self.state = batch.state or self.state
        self.urgent |= batch.urgent

    def absorb(self, later: "WriteQueue") -> None:
        """Takes in what came while these rows could not be written."""
        for name in ("samples", "chunks", "cranks", "minutes", "forecasts", "events"):
            setattr(self, name, getattr(self, name) + getattr(later, name))
        for name in ("days", "alerts", "gaps", "labels"):
            setattr(self, name, getattr(self, name) | getattr(later, name))
        self.state, self.found = later.state or self.state, later.found or self.found
        self.urgent |= later.urgent
        self.dropped += later.dropped
        self._bound()

    def _bound(self) -> None:
        while len(self.samples) > LOOSE_ROWS:
            hour, self.samples = self.samples[:LOOSE_ROWS // 2], self.samples[LOOSE_ROWS // 2:]
            self.chunks.append(chunks.pack(hour))
        for name, kept in (("chunks", KEPT_HOURS), ("minutes", KEPT_MINUTES), ("events", KEPT_EVENTS)):
            rows = getattr(self, name)
            self.dropped += max(0, len(rows) - kept)
            del rows[:max(0, len(rows) - kept)]
        while len(self.gaps) > KEPT_GAPS:
            self.gaps.pop(next(iter(self.gaps)))
            self.dropped += 1
