"""Times in the dark: each is a gap, an end that nobody asked for is an event, and nothing of it counts as measured."""
import shutil
from pathlib import Path

import pytest

from monitor.logbook.reader import Reader
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from tests.hand_clock import NETWORK, HandClock
from tests.vehicle_by_hand import Instrument, daemon, live

DRAWING = {"house_voltage_v": 12.4, "house_current_a": -6.0, "starter_voltage_v": 12.7}


def begun(database: Path):
    clock = HandClock(utc_s=1790000000.0, boot="boot 1", trust=NETWORK)
    life = daemon(database, clock=clock, instrument=Instrument(**DRAWING))
    live(life, 600)
    life.daemon.writer.flush()
    return life, clock


def test_a_power_cut_of_290_s_at_6_a_is_a_gap_and_an_event_and_not_covered(tmp_path: Path) -> None:
    database = tmp_path / "ampledger.db"
    life, clock = begun(database)
    counted = life.daemon.state.watch.counts.total
    shutil.copytree(tmp_path, tmp_path / "card")  # what the card holds when the power goes: nobody says goodbye
    life.daemon.close()
    database = tmp_path / "card" / "ampledger.db"
    clock.reboot("boot 2", off_s=290.0, utc_s=clock.utc_s() + 290.0, trust=NETWORK)
    life = daemon(database, clock=clock, instrument=Instrument(**DRAWING))
    live(life, 300)
    assert life.daemon.close()
    (event,) = [e.what for e in Reader(database).events() if e.what.kind == "ended_uncleanly"]
    assert 285 <= dict(event.figures)["silent_s"] <= 360 and "without a goodbye" in event.message
    (gap,) = [g for g in Reader(database).gaps() if g.what.quantity == ""]
    assert 285 <= gap.until_utc_s - gap.at_utc_s <= 360
    total = life.daemon.state.watch.counts.total
    assert 285 <= total.gap_s - counted.gap_s <= 360
    assert total.spent_ah * 3600 == pytest.approx(6.0 * total.seen_s), "only what was measured is counted"
    assert sum(v["covered_s"] for *_, v in Reader(database).rows_of_level("minutes")) + sum(
        v["gap_s"] for *_, v in Reader(database).rows_of_level("minutes")) == pytest.approx(1190, abs=61)


def test_a_stop_and_a_start_is_a_gap_and_no_event(tmp_path: Path) -> None:
    database = tmp_path / "ampledger.db"
    life, clock = begun(database)
    assert life.daemon.close()
    clock.move(120.0)
    life = daemon(database, clock=clock, instrument=Instrument(**DRAWING))
    live(life, 130)
    assert life.daemon.close()
    assert not [e for e in Reader(database).events() if e.what.kind == "ended_uncleanly"]
    (gap,) = [g.what for g in Reader(database).gaps() if g.what.quantity == ""]
    assert gap.until_s - gap.from_s == pytest.approx(120, abs=2) and "stopped" in gap.reason


def test_a_restart_within_half_a_minute_is_no_gap(tmp_path: Path) -> None:
    database = tmp_path / "ampledger.db"
    life, clock = begun(database)
    assert life.daemon.close()
    clock.move(20.0)
    life = daemon(database, clock=clock)
    live(life, 130)
    assert life.daemon.close() and Reader(database).gaps() == []


@pytest.mark.parametrize(("step_s", "silence_s", "is_gap"), [
    (1.0, 29.0, False), (1.0, 31.0, True), (1.0, 290.0, True), (10.0, 29.0, False), (10.0, 31.0, True), (30.0, 60.0, False),
    (30.0, 90.0, True),
    (60.0, 120.0, False), (60.0, 180.0, True), (120.0, 240.0, False), (120.0, 301.0, True)])
def test_a_silence_is_judged_by_the_rhythm_of_the_readings(step_s: float, silence_s: float, is_gap: bool) -> None:
    times = [step_s * k for k in range(1, round(1200 / step_s))]
    times += [times[-1] + silence_s + step_s * k for k in range(round(1200 / step_s))]
    found = list(minutes(Sample(at_s, 12.5, -6.0) for at_s in times))
    gap_s, covered_s = sum(m.gap_s for m in found), sum(m.covered_s for m in found)
    assert gap_s == (pytest.approx(silence_s) if is_gap else 0.0) and gap_s + covered_s == pytest.approx(times[-1] - times[0])
    assert sum(m.charge_out_ah for m in found) == pytest.approx(6.0 * covered_s / 3600)


def test_another_rhythm_is_learnt_and_no_gap_for_ever() -> None:
    times = [float(k) for k in range(1, 300)] + [300.0 + 60 * k for k in range(1, 30)]
    found = list(minutes(Sample(at_s, 12.5, -6.0) for at_s in times))
    assert sum(m.gap_s for m in found) <= 121 and found[-1].gap_s == 0

