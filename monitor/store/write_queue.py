"""What waits to be written: rows in memory, bounded, thinned in a stated order while the log cannot be written."""
from bisect import bisect_right
from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from typing import Any

from monitor.findings import Event
from monitor.store import chunks, column_codec
from monitor.store.batch import AlertRecord, Batch, ForecastRow, Gap, MinuteRow, TimeLabel
from monitor.store.columns import TABLE_COLUMNS, milliseconds
from monitor.store.sample_rows import SampleRow, sample_row
from monitor.store.state import State

HOUR_MS = 3_600_000
#: Beyond so many raw rows the oldest hours are packed: 8 kB in place of 1.5 MB. They are packed as the log packs them, by hours
#: of the line of time, so that no chunk lies across the end of a day.
LOOSE_ROWS = 7200
#: Beyond twice so many minutes the oldest so many are packed: 60 kB in place of 1.5 MB.
PACKED_MINUTES = 1440
#: What is kept while the log cannot be written; beyond it the oldest go first. Alerts and state never go. Packed rows are
#: counted by the space they take, never by a date: 14 days of six noisy quantities read each second, a year of hourly ones.
KEPT_RAW_BYTES, KEPT_MINUTES_BYTES = 4_000_000, 1_200_000
#: Rows that are not packed are counted; forecasts come once an hour.
KEPT_EVENTS, KEPT_GAPS, KEPT_CRANKS, KEPT_FORECASTS = 2000, 2000, 200, 60 * 24
#: A packed hour costs so much besides its bytes: the row in memory.
ROW_BYTES = 200


class WriteQueue:
    """Rows, in order, that the next transaction writes. Not safe between threads: the writer locks."""

    def __init__(self) -> None:
        self.samples: list[SampleRow] = []
        self.chunks: list[tuple[int, int, int, int, bytes]] = []
        self.cranks: list[tuple[int, Any]] = []
        self.minutes: list[MinuteRow] = []
        self.packed_minutes: list[tuple[int, int, bytes]] = []  # first start [ms], rows, body; older than self.minutes
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
        """Seconds of life that a power cut would cost now: of minutes, or of readings where no minute can be worked out."""
        begun = [*(start for start, _, _ in self.packed_minutes[:1]), *(row[1] for row in self.minutes[:1]),
                 *(chunk[0] for chunk in self.chunks[:1]), *(row[0] for row in self.samples[:1])]
        return ((self.latest_ms or 0) - min(begun)) / 1000 if begun else 0.0

    @property
    def latest_ms(self) -> int | None:
        """The latest moment of anything that waits."""
        ends = [*(row[0] for row in self.samples[-1:]), *(row[0] for row in self.minutes[-1:])]
        return max(ends, default=None)

    def minutes_by_days(self) -> Iterator[list[MinuteRow]]:
        """Every minute that waits, oldest first, about a day of them in memory at a time."""
        for _, count, body in self.packed_minutes:
            yield _unpack(count, body)
        if self.minutes:
            yield self.minutes

    def drop_rows(self) -> int:
        """Lets go of the rows, keeps alerts, events and state; returns how many went."""
        count = len(self.samples) + len(self.minutes) + len(self.chunks) + sum(rows for _, rows, _ in self.packed_minutes)
        self.samples, self.minutes, self.packed_minutes, self.chunks, self.cranks, self.forecasts, self.days = [], [], [], [], [], [], {}
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
            self._foresee([logged.forecast])
            self.minutes.append(logged.row)
            self.days[logged.day_ms] = logged.row[0]
            self.found = logged.found
        self.events += batch.events
        self.alerts |= {alert.id: alert for alert in batch.alerts}
        self.gaps |= {(gap.from_s, gap.quantity): gap for gap in batch.gaps}
        self.labels |= {milliseconds(label.at_s): label for label in batch.labels}
        self.state = batch.state or self.state
        self.urgent |= batch.urgent
        if len(self.samples) > 4 * LOOSE_ROWS or len(self.minutes) > 3 * PACKED_MINUTES:
            self._bound()  # a write that neither ends nor fails

    def absorb(self, later: "WriteQueue") -> None:
        """Takes in what came while these rows could not be written."""
        self._loosen(later)
        for name in ("samples", "chunks", "cranks", "minutes", "events"):
            setattr(self, name, getattr(self, name) + getattr(later, name))
        self._foresee(later.forecasts)
        for name in ("days", "alerts", "gaps", "labels"):
            setattr(self, name, getattr(self, name) | getattr(later, name))
        self.state, self.found = later.state or self.state, later.found or self.found
        self.urgent |= later.urgent
        self.dropped += later.dropped
        self._bound()

    def _loosen(self, later: "WriteQueue") -> None:
        """Packed rows stay older than loose ones on both sides."""
        if later.chunks and self.samples:
            self._pack_samples(len(self.samples))
        if later.packed_minutes and self.minutes:
            self._pack_minutes(len(self.minutes))
        self.packed_minutes += later.packed_minutes

    def _foresee(self, rows: list[ForecastRow]) -> None:
        """One forecast an hour."""
        for row in rows:
            if not self.forecasts or row[0] // HOUR_MS != self.forecasts[-1][0] // HOUR_MS:
                self.forecasts.append(row)

    def _pack_samples(self, count: int) -> None:
        """Packs the oldest so many raw rows, an hour of the line in a chunk."""
        rows, self.samples = self.samples[:count], self.samples[count:]
        for _, hour in groupby(rows, lambda row: hour_end(row[0])):
            self.chunks.append(chunks.pack(list(hour)))

    def _pack_minutes(self, count: int) -> None:
        rows, self.minutes = self.minutes[:count], self.minutes[count:]
        self.packed_minutes.append((rows[0][1], len(rows), column_codec.pack(rows)))

    def _bound(self) -> None:
        if len(self.samples) > LOOSE_ROWS:
            last = hour_end(self.samples[-1][0])
            whole = bisect_right(self.samples, last - HOUR_MS, key=itemgetter(0))  # the hour that goes on stays loose
            self._pack_samples(whole or LOOSE_ROWS // 2)
        while len(self.minutes) >= 2 * PACKED_MINUTES:
            self._pack_minutes(PACKED_MINUTES)
        spare = sum(len(chunk[4]) + ROW_BYTES for chunk in self.chunks) - KEPT_RAW_BYTES
        while spare > 0:
            spare -= len(self.chunks[0][4]) + ROW_BYTES
            self.dropped += self.chunks.pop(0)[2]
        spare = sum(len(body) + ROW_BYTES for _, _, body in self.packed_minutes) - KEPT_MINUTES_BYTES
        while spare > 0:
            spare -= len(self.packed_minutes[0][2]) + ROW_BYTES
            self.dropped += self.packed_minutes.pop(0)[1]
        for name, kept in (("events", KEPT_EVENTS), ("cranks", KEPT_CRANKS), ("forecasts", KEPT_FORECASTS)):
            rows = getattr(self, name)
            self.dropped += max(0, len(rows) - kept)
            del rows[:max(0, len(rows) - kept)]
        while len(self.gaps) > KEPT_GAPS:
            self.gaps.pop(next(iter(self.gaps)))
            self.dropped += 1


def hour_end(at_ms: int) -> int:
    """The end of the hour that a moment is in: an hour has the moments after its start up to and including its end."""
    return -(-at_ms // HOUR_MS) * HOUR_MS


def _unpack(count: int, body: bytes) -> list[MinuteRow]:
    columns = column_codec.unpack(body, count, range(len(TABLE_COLUMNS["minutes"])))
    rows: list[Any] = list(zip(*columns, strict=True))
    return rows
