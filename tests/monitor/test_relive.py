"""Learning from the log again: the same as having lived it, beside a beat that goes on, taken over once, begun again after a kill."""
import time
from dataclasses import astuple, dataclass, replace
from pathlib import Path
from typing import ClassVar

import pytest
from click.testing import CliRunner

from monitor import pipeline
from monitor.alerts import rules
from monitor.battery.label import Vehicle
from monitor.cli import commands
from monitor.logbook import resume
from monitor.logbook.reader import Reader
from monitor.process import relive
from monitor.process.relearning import Relearning
from monitor.sample import Sample
from monitor.sampling.gather import Gathering, minutes
from monitor.store import requests, saving, state
from monitor.store.open_log import OpenLog
from monitor.store.sample_rows import sample_of, sample_row
from monitor.store.state import State
from tests import store_fixture
from tests.benchmarks.ensemble import journey, owner, vehicles
from tests.hand_clock import NETWORK, HandClock
from tests.store_fixture import BEGINS_UTC_S, VEHICLE
from tests.vehicle_by_hand import daemon, live

DAYS = 2.0


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return store_fixture.fill(tmp_path_factory.mktemp("log") / "ampledger.db", DAYS, beat_s=60.0)


@pytest.fixture
def database(filled: Path, tmp_path: Path) -> Path:
    (tmp_path / "ampledger.db").write_bytes(filled.read_bytes())
    return tmp_path / "ampledger.db"


def saved(database: Path) -> pipeline.TrackerStates:
    return resume.read(database, State(pipeline.begin(VEHICLE), rules.begin(), Gathering())).state.watch


def test_a_sample_comes_back_field_by_field_with_the_time_of_day() -> None:
    sample = Sample(1.5, 12.1, -2.2, 12.7, 20.5, 21.5, 22.5, 3.25, 1.0, hour=7.5, year_day=99.0)
    assert sample_of(sample_row(sample), 7.5, 99.0) == sample and None not in astuple(sample)


def test_raw_readings_lived_through_again_give_what_was_learnt(database: Path) -> None:
    """To the digits that the log keeps: 1 mV, 1 mA."""
    learnt, lived = saved(database), relive.relive(database, VEHICLE)[0]
    assert lived.counts.total.spent_ah == pytest.approx(learnt.counts.total.spent_ah, rel=1e-6)
    assert lived.counts.total.seen_s == pytest.approx(learnt.counts.total.seen_s)
    was, now = (pipeline.house_charge.findings(x.charge, VEHICLE).charge_frac for x in (learnt, lived))
    assert now.value == pytest.approx(was.value, abs=0.01) and now.high - now.low == pytest.approx(was.high - was.low, rel=0.1)
    assert lived.isolator.__class__ is learnt.isolator.__class__


def test_minutes_stand_in_for_raw_readings_in_the_far_past(database: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A whole log of minutes: charge is counted alike, and what is learnt differs by no more than either says it is unsure."""
    monkeypatch.setattr(relive, "RAW_S", 0.0)
    learnt, lived = saved(database), relive.relive(database, VEHICLE)[0]
    assert lived.counts.total.spent_ah == pytest.approx(learnt.counts.total.spent_ah, rel=1e-3)
    was, now = (pipeline.house_charge.findings(x.charge, VEHICLE).charge_frac for x in (learnt, lived))
    assert now.low <= was.value <= now.high and was.low <= now.value <= was.high


@pytest.mark.parametrize("case", ["lead healthy", "lithium"])
def test_minutes_lived_through_together_leave_what_each_by_itself_leaves(case: str) -> None:
    """Bit for bit, whatever the runs are cut into, in two days with gaps in the readings."""
    plan = next(vehicles(case, 1, seed=4, days=2.0))
    life, vehicle = list(minutes(sample for sample, _ in journey(plan))), owner(plan)
    one_by_one = pipeline.begin(vehicle)
    for minute in life:
        one_by_one, _ = pipeline.step(one_by_one, minute, vehicle)
    for length in (1, 7, relive.TOGETHER, len(life)):
        together = pipeline.begin(vehicle)
        for first in range(0, len(life), length):
            together = pipeline.relive(together, life[first:first + length], vehicle, pipeline.ALL)
        assert saving.to_text(together) == saving.to_text(one_by_one)
    assert pipeline.relive(one_by_one, (), vehicle, pipeline.ALL) is one_by_one


def test_what_the_owner_told_is_never_in_the_middle_of_a_run(database: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = {round(3600.0 * at): [f"battery {at}"] for at in (0.5, 2.0, 2.25)}
    monkeypatch.setattr(relive, "told_and_minutes", lambda log, last: (
        (told.get(round(m.start_s), []), m) for m in relive.minutes_of(log, last)))
    with relive.open_view(database) as log:
        last = log.ends()[1]
        runs = list(relive.told_and_runs(log, last, apart_s=10_000.0))
        whole = list(relive.minutes_of(log, last))
    assert [m for _, run in runs for m in run] == whole and max(len(run) for _, run in runs) == relive.TOGETHER
    assert {round(run[0].start_s): words for words, run in runs if words} == told
    assert not any(run[0].end_s <= 10_000.0 < run[-1].end_s for _, run in runs)


def test_the_hour_of_the_day_is_that_of_the_log(database: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()
    with relive.open_view(database) as log:
        minutes = list(relive.minutes_of(log, log.ends()[1]))
    assert len(minutes) == round(DAYS * 1440)
    assert [m.hour for m in minutes[:3]] == pytest.approx([((BEGINS_UTC_S + 60 * k) / 3600) % 24 for k in (1, 2, 3)])
    assert minutes[-1].end_s == DAYS * 86400 and all(a.end_s == b.start_s for a, b in zip(minutes, minutes[1:]))


@dataclass(frozen=True, slots=True)
class Newer:
    """What a tracker of a later version holds: the same fields, another meaning."""

    VERSION: ClassVar[int] = 2
    spent_ah: float = 0.0


@dataclass(frozen=True, slots=True)
class Older:
    """The same of the version before."""

    spent_ah: float = 0.0


@dataclass(frozen=True, slots=True)
class Two:
    """Two trackers, one of which changed."""

    one: Newer | Older
    other: Older


def test_a_part_of_another_version_is_not_read_and_costs_no_other() -> None:
    older, newer = Two(Older(7.0), Older(8.0)), Two(Newer(), Older())
    written = state.texts_of(State(older, Older(), Older()))
    texts = {name: text.replace("Older", "Newer") if name.endswith(".one") else text for name, text in written.items()}
    read, lost = state.unpack(texts, State(newer, Older(), Older()))
    assert lost == ("watch.one",) and read.watch == Two(Newer(), Older(8.0))
    again, lost = state.unpack(state.texts_of(State(Two(Newer(3.0), Older(8.0)), Older(), Older())), State(newer, Older(), Older()))
    assert lost == () and again.watch.one.spent_ah == 3.0


def hurt(database: Path, part: str) -> None:
    """A saved state as an earlier version wrote it: one part that this one does not read."""
    log = OpenLog(database)
    rows = log.sql("select generation, whole, at_ms, format, crc, body from tracker_state").fetchall()
    texts, generation, _ = state.newest([tuple(row) for row in rows])
    texts[part] = '{"_":"SomethingElse","a":1}'
    log.sql("delete from tracker_state")
    log.sql("insert into tracker_state values (?, ?, ?, ?, ?, ?)", state.pack(texts, None, generation, rows[-1][2]))
    log.close()


def started(database: Path):
    clock = HandClock(boot_s=DAYS * 86400 + 30.0, utc_s=BEGINS_UTC_S + DAYS * 86400 + 30.0, trust=NETWORK)
    return daemon(database, clock=clock, simulated=True, relearning=Relearning)


def lived_until_done(life, most_s: float = 400.0) -> float:
    """Beats on until it is done; returns the longest beat [s]."""
    longest, until = 0.0, time.monotonic() + most_s
    while life.daemon._relearner.run is not None and time.monotonic() < until:
        began = time.monotonic()
        live(life, 1)
        longest = max(longest, time.monotonic() - began)
        time.sleep(0.01)
    return longest


def test_an_unreadable_part_is_learnt_again_beside_the_beat_and_taken_over(database: Path) -> None:
    learnt = saved(database)
    hurt(database, "watch.charge")
    life = started(database)
    assert life.daemon.state.watch.charge == pipeline.begin(VEHICLE).charge and life.daemon.state.watch.loads == learnt.loads
    life.daemon.writer.ask(lambda connection: None).result(20)  # after what it was asked to remember
    assert Reader(database).relearning() is not None
    shown = CliRunner().invoke(commands, ["status", "--database", str(database)]).output
    assert "Relearning from your log" in shown and " %" in shown
    live(life, 70)
    longest = lived_until_done(life)
    assert life.daemon._relearner.run is None and longest < 1.0, f"a beat took {longest:.2f} s"
    now, was = (pipeline.house_charge.findings(x, VEHICLE).charge_frac for x in (life.daemon.state.watch.charge, learnt.charge))
    assert now.low <= was.value <= now.high and now.high - now.low < 0.5
    assert life.daemon.close()
    kinds = [e.what.kind for e in Reader(database).events()]
    assert kinds.count("begun_afresh") == kinds.count("relearnt") == 1 and Reader(database).relearning() is None
    assert resume.read(database, State(pipeline.begin(VEHICLE), rules.begin(), Gathering())).lost == ()


def test_a_relearning_that_was_cut_off_begins_again_at_the_next_start(database: Path) -> None:
    hurt(database, "watch.health")
    life = started(database)
    assert life.daemon._relearner.run is not None
    life.daemon._relearner.run._process.kill()
    assert life.daemon.close()
    life = started(database)
    assert life.daemon._relearner.run is not None and life.daemon._relearner.run.parts == ("health",)
    lived_until_done(life)
    assert life.daemon.close()
    assert [e.what.kind for e in Reader(database).events()].count("relearnt") == 1


def test_a_process_beside_that_ends_without_a_word_is_told_and_the_beat_goes_on(database: Path) -> None:
    hurt(database, "watch.starter")
    life = started(database)
    live(life, 2)
    life.daemon._relearner.run._process.kill()
    lived_until_done(life)
    assert life.daemon._relearner.run is None and live(life, 70)
    assert life.daemon.close()
    assert "relearning_failed" in [e.what.kind for e in Reader(database).events()]


def test_the_owner_may_ask_for_it(database: Path) -> None:
    life = started(database)
    live(life, 2)
    done = CliRunner().invoke(commands, ["relearn", "--database", str(database)])
    assert done.exit_code == 3, done.output  # nothing holds the lock of this log: kept
    live(life, 3)
    assert life.daemon._relearner.run is not None and set(life.daemon._relearner.run.parts) == pipeline.ALL
    lived_until_done(life)
    assert life.daemon.close()
    assert {"relearning", "relearnt"} <= {e.what.kind for e in Reader(database).events()}


def test_what_is_asked_for_brings_what_it_rests_on(database: Path) -> None:
    whole, part = relive.relive(database, VEHICLE)[0], relive.relive(database, VEHICLE, frozenset({"starter"}))[0]
    assert part.starter == whole.starter and part.charge == pipeline.begin(VEHICLE).charge and replace(whole, loads=part.loads) != whole
    assert saving.from_text(Vehicle, saving.to_text(VEHICLE)) == VEHICLE and requests.KINDS["relearn"] == {}
