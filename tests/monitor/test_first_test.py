"""The first capacity test of a battery is kept for its whole life: later ones are compared with what it gave itself."""
from dataclasses import replace

from monitor.battery.label import Battery, Vehicle
from monitor.store import saving
from monitor.wear import health
from monitor.wear.health import HealthState
from monitor.wear.verdict import CapacityTest, judge

HOUSE = Battery("house", "agm", 100.0)
VEHICLE = Vehicle(HOUSE, Battery("starter", "flooded", 70.0))
NEW, LATER = CapacityTest(1e6, 90.0, 87.0, 93.0), CapacityTest(4e7, 66.0, 64.0, 68.0)


def test_a_later_test_is_compared_with_the_first() -> None:
    state = health.note_capacity_test(HealthState(), NEW, VEHICLE)
    assert state.first_test == NEW
    state = health.note_capacity_test(state, LATER, VEHICLE)
    assert (state.first_test, state.test) == (NEW, LATER)
    line = next(line for line in state.judged.lines if "first test" in line.seen)
    assert line.weight == "strong" and "69 to 78 % of what its first test gave" in line.seen      # 64/93 and 68/87


def test_a_small_battery_with_a_large_label_is_not_worn_by_its_own_measure() -> None:
    same = replace(LATER, capacity_ah=89.0, low_ah=86.0, high_ah=92.0)
    lines = judge((), HOUSE, same, first=NEW).lines
    assert next(line for line in lines if "first test" in line.seen).weight == "for"
    assert not [line for line in judge((), HOUSE, NEW, first=NEW).lines if "first test" in line.seen]


def test_a_test_that_was_stopped_early_is_no_first_one() -> None:
    early = replace(NEW, reached_end=False)
    state = health.note_capacity_test(HealthState(), early, VEHICLE)
    assert state.first_test is None
    assert health.note_capacity_test(state, LATER, VEHICLE).first_test == LATER


def test_it_is_saved_and_a_state_of_before_can_be_read() -> None:
    state = health.note_capacity_test(HealthState(), NEW, VEHICLE)
    text = saving.to_text(state)
    assert saving.from_text(HealthState, text).first_test == NEW
    plain = saving.to_text(HealthState()).replace(',"first_test":null', "").replace(', "first_test": null', "")
    assert "first_test" not in plain
    assert saving.from_text(HealthState, plain) == HealthState()
