"""Whatever the disk does and however much waits: every row of every level is in the log at the end, once, and as it was."""
import resource
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from math import ceil
from pathlib import Path
from random import Random

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from monitor.findings import Event
from monitor.sample import Sample
from monitor.store import check
from monitor.store.batch import Batch, LoggedMinute, TimeLabel
from monitor.store.columns import LEVELS, ROLLED
from monitor.store.sample_rows import sample_row
from monitor.store.view import open_view
from monitor.store.writer import Writer

DAY_MS, HOUR_MS = 86_400_000, 3_600_000
HOW = [how for _, _, how in ROLLED.values()]
QUICK = (0.01,)
MOST_DAYS = 12.0


@dataclass(frozen=True)
class Found:
    """What stands for the findings of a minute."""

    at_s: float


@dataclass
class Life:
    """Makes rows, and keeps for itself what must be in the log; worked out here from the rows alone."""

    chance: Random
    beat_s: float
    now_ms: int = 0
    last_ms: int = 0
    day_ms: int = 0
    raw: dict[int, tuple] = field(default_factory=dict)
    minutes: dict[int, tuple] = field(default_factory=dict)
    days: dict[int, tuple[int, int]] = field(default_factory=dict)  # start -> first and last moment
    events: Counter[str] = field(default_factory=Counter)

    def live(self, minutes: int) -> Iterator[Batch]:
        """So many minutes, one batch each; a day is told by 24 h of the line, as where no clock is known."""
        for _ in range(minutes):
            end_ms, start_ms, samples = self.now_ms + 60_000, self.last_ms, []
            while self.now_ms < end_ms:
                self.now_ms += round(self.beat_s * 1000)
                samples.append(Sample(self.now_ms / 1000, round(self.chance.uniform(11, 14.6), 3), round(self.chance.gauss(-3, 5), 3)))
            row = (self.now_ms, start_ms, *[self.chance.randrange(1000) if self.chance.random() < 0.9 else None for _ in ROLLED])
            if self.now_ms - self.day_ms > DAY_MS:
                self.day_ms = start_ms
            self.raw |= {r[0]: r for r in map(sample_row, samples)}
            self.minutes[row[0]] = row
            self.days[self.day_ms] = (self.day_ms, self.now_ms)
            self.last_ms = self.now_ms
            forecast = (self.now_ms, *[1.0] * 8)
            events = ()
            if self.chance.random() < 0.002:
                name = f"event at {self.now_ms}"
                self.events[name] += 1
                events = (Event(self.now_ms / 1000, "tried", "vehicle", name),)
            yield Batch(tuple(samples), (LoggedMinute(row, forecast, self.day_ms, Found(self.now_ms / 1000)),), None, events)

    def dark(self, silence_s: float) -> None:
        """Nothing is measured for so long."""
        self.now_ms += round(silence_s * 1000)

    def rolled(self, step_ms: int, finer: dict[int, tuple]) -> dict[int, tuple]:
        """Rows of a coarser level, those not over yet left out."""
        groups: dict[int, list[tuple]] = {}
        for end, row in finer.items():
            groups.setdefault(ceil(end / step_ms) * step_ms, []).append(row)
        return {end: (end, min(r[1] for r in rows), *put_together(rows)) for end, rows in groups.items() if end <= self.last_ms}


def put_together(rows: list[tuple]) -> list[int | None]:
    """The values of a coarser row."""
    found: list[int | None] = []
    for how, *column in zip(HOW, *[row[2:] for row in rows], strict=True):
        known = [v for v in column if v is not None]
        found.append(None if not known else {"least": min, "most": max, "sum": sum}[how](known) if how != "mean"
                     else (2 * sum(known) + len(known)) // (2 * len(known)))
    return found


@contextmanager
def no_file_grows_beyond(size: int) -> Iterator[None]:
    """A disk that takes no byte beyond this place of any file."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def at_once(minutes: int, beat_s: float) -> list[int]:
    """So many minutes in parts of at most a week: here they come faster than they are written, and what waits is bounded."""
    most = round(7 * 86400 / max(beat_s, 60.0))
    return [most] * (minutes // most) + [minutes % most]


def new_writer(database: Path) -> Writer:
    writer = Writer(database, meta={"simulated": "1"}, pauses_s=QUICK, ballast_bytes=4096)
    writer.start()
    return writer


def compare(life: Life, database: Path) -> None:
    """Every row of every level, and no other."""
    with open_view(database) as log:
        raw = [row for hour in log.raw(-(2**62), 2**62) for row in hour]
        levels = {level: list(log.rows_of_level(level, -(2**62), 2**62)) for level in LEVELS}
        events = Counter(row[4] for row in log.rows("events", "where kind = 'tried'"))
        forecasts = Counter(row[0] // HOUR_MS for row in log.rows("forecasts"))
    assert [row[0] for row in raw] == list(life.raw)
    assert raw == list(life.raw.values())
    assert [row[0] for row in levels["minutes"]] == list(life.minutes)
    assert levels["minutes"] == list(life.minutes.values())
    quarters = life.rolled(LEVELS["quarters"] * 1000, life.minutes)
    assert {row[0]: row for row in levels["quarters"]} == quarters and len(levels["quarters"]) == len(quarters)
    hours = life.rolled(LEVELS["hours"] * 1000, quarters)
    assert {row[0]: row for row in levels["hours"]} == hours and len(levels["hours"]) == len(hours)
    days = {row[1]: row for row in levels["days"]}
    assert len(days) == len(levels["days"])
    for start, (first, end) in sorted(life.days.items())[:-1]:  # the last one is written once an hour
        rows = [row for at, row in life.minutes.items() if first < at <= end]
        assert days.get(start) == (end, start, *put_together(rows)), f"day from {start}"
    assert events == life.events
    assert not forecasts or max(forecasts.values()) == 1
    assert check.check(database).sound


#: minutes lived; a size no file grows beyond while so many minutes are lived in so many parts; a silence [s]; a new start
STEPS = st.one_of(
    st.tuples(st.just("live"), st.one_of(st.integers(1, 90), st.integers(90, 3000), st.integers(3000, 14400))),
    st.tuples(st.just("outage"), st.sampled_from((0, 1, 4096, 20_000, 60_000, 200_000, 1_000_000)), st.integers(1, 10080),
              st.integers(1, 5)),
    st.tuples(st.just("dark"), st.sampled_from((45.0, 1000.0, 5e4, 2e5, 3e6, 4e7))),
    st.tuples(st.just("restart")))


@settings(max_examples=3, derandomize=True, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(seed=st.integers(0, 99), beat_s=st.sampled_from((7.0, 20.0, 60.0, 61.0, 300.0)), steps=st.lists(STEPS, min_size=2, max_size=7))
@example(seed=1, beat_s=20.0, steps=[("live", 14400), ("live", 60), ("live", 61), ("live", 4000)])
@example(seed=2, beat_s=60.0, steps=[("live", 900), ("outage", 0, 10080, 5), ("restart",), ("live", 4000)])
@example(seed=3, beat_s=7.0, steps=[("live", 4000), ("outage", 200_000, 7000, 3), ("live", 1500), ("dark", 4e7), ("live", 5000)])
@example(seed=4, beat_s=60.0, steps=[("live", 60), ("outage", 0, 3000, 3), ("dark", 4e7), ("outage", 0, 3000, 3), ("live", 100)])
@example(seed=19, beat_s=300.0, steps=[("dark", 4e7), ("live", 242), ("live", 5637), ("live", 2999), ("dark", 5e4)])
def test_every_row_of_every_level_is_there_once(seed: int, beat_s: float, steps: list[tuple]) -> None:
    life = Life(Random(seed), beat_s)
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "ampledger.db"
        writer = new_writer(database)
        try:
            writer.offer(Batch(labels=(TimeLabel(0.0, "one boot", 0.0, 0.0, True, "tried"),)))
            waiting = 0.0  # days of rows: beyond MOST_DAYS the oldest may go, by design
            for step in steps:
                if step[0] == "live":
                    for minutes in at_once(step[1], beat_s):
                        for batch in life.live(minutes):
                            writer.offer(batch)
                        assert writer.flush(120)
                    waiting = 0.0
                elif step[0] == "outage":
                    minutes = round(step[2] * 60 / max(beat_s, 60.0))
                    waiting += minutes * max(beat_s, 60.0) / 86400
                    if waiting > MOST_DAYS:
                        assert writer.flush(120)
                        waiting = 0.0
                    with no_file_grows_beyond(step[1]):
                        for _ in range(step[3]):
                            for batch in life.live(minutes // step[3] + 1):
                                writer.offer(batch)
                            writer.flush(0.2)
                elif step[0] == "dark":
                    life.dark(step[1])
                else:
                    assert writer.flush(120) and writer.close(120)
                    writer = new_writer(database)
            for _ in range(3):  # what was too much at once is packed and sealed by and by
                for batch in life.live(61):
                    writer.offer(batch)
                assert writer.flush(120)
        finally:
            writer.close(120)
        compare(life, database)
        assert writer.status().dropped == 0
