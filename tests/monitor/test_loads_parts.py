"""What keeps the loads apart in cases that no simulated journey has: figures of real loads on both sides of each limit."""
from dataclasses import replace
from math import exp

import pytest

from monitor.battery.label import NamedLoad
from monitor.findings import Estimate, JoinFindings
from monitor.usage import found_loads, fridge, harvest, load_off, load_runs, loads, run_kinds, solar_clock
from monitor.usage.current_steps import CurrentStep
from monitor.usage.fridge import Fridge
from monitor.usage.history import DAY_SLOTS
from monitor.usage.load_off import LoadOffState
from monitor.usage.load_runs import LoadRun, OnLoad, Reading
from monitor.usage.loads import LoadsState
from monitor.usage.run_kinds import FoundLoad
from tests.monitor.test_loads import CHARGE, VEHICLE, minute

HOUR_S, DAY_S = 3600.0, 86400.0


def compressor(amperes: float, run_s: float = 900.0, rest_s: float = 2700.0, runs: int = 20, apart_s: float = 60.0) -> Fridge:
    """What is learnt of a load that comes and goes like a compressor: its current, its run and its rest."""
    cold, at_s = Fridge(), 0.0
    for _ in range(runs):
        cold = fridge.update_on_step(cold, (CurrentStep(at_s, -amperes),), 43200.0, 20.0, apart_s)
        at_s += run_s
        cold = fridge.update_on_step(cold, (CurrentStep(at_s, amperes),), 43200.0, 20.0, apart_s)
        at_s += rest_s
    return cold


@pytest.mark.parametrize(("amperes", "is_one"), [(0.8, False), (1.25, True), (11.0, True), (14.0, False)])
def test_a_compressor_draws_what_compressors_of_vehicle_fridges_draw(amperes: float, is_one: bool) -> None:
    """A heater's fan below and a hot plate above come and go as regularly."""
    assert (fridge.amperes(compressor(amperes)) is not None) == is_one


@pytest.mark.parametrize(("apart_s", "seen"), [(180.0, True), (240.0, True), (360.0, False), (600.0, False)])
def test_a_fridge_is_judged_where_some_readings_fall_into_each_run(apart_s: float, seen: bool) -> None:
    cold = compressor(4.0, run_s=900.0, apart_s=apart_s)
    assert isinstance(fridge.ah_per_day(cold, fridge.duties(cold, (20.0,) * fridge.BINS)), Estimate) == seen


def test_the_found_load_that_is_the_fridge_has_its_current() -> None:
    """4.0 A; a load of 4.4 A is the fridge on a warm day, one of 4.6 A is another load."""
    loaded = LoadsState(cold=compressor(4.0), day_c=(20.0,) * fridge.BINS)

    def found(amperes: float) -> bool:
        return found_loads.fridge_among((FoundLoad(1, amperes, 900.0, 0.0),), loaded) is not None

    assert found(4.4) and not found(4.6) and not found(3.4)


@pytest.mark.parametrize(("silent_s", "kept"), [(60.0, True), (270.0, True), (360.0, False)])
def test_steps_before_a_silence_of_minutes_are_forgotten(silent_s: float, kept: bool) -> None:
    """What went on and off in it is not known: the level before says nothing of a step after it."""
    state = loads.begin()
    for k in range(1, 6):
        state = loads.update(state, minute(60.0 * k, -2.0, 60.0), VEHICLE, JoinFindings(), CHARGE)
    after = replace(minute(300.0 + silent_s + 60.0, -2.0, 60.0), gap_s=silent_s)
    state = loads.update(state, after, VEHICLE, JoinFindings(), CHARGE)
    assert (state.level.amperes is not None) == kept


@pytest.mark.parametrize(("share", "told"), [(0.25, False), (0.35, True)])
def test_how_a_battery_recovers_is_told_where_much_of_the_step_came_in_one_reading(share: float, told: bool) -> None:
    """A load of 6 A goes off; of the reading into which it falls it was off for a share."""
    state, step = LoadOffState(), None
    for k, (volts, amperes) in enumerate([(12.3, -6.0), (12.3, -6.0), (12.34, 6.0 * share - 6.0), (12.42, 0.0)]):
        state, step = load_off.add(state, 60.0 * k, volts, amperes, 100.0)
    assert step is not None and (step.slope_ohm is not None) == told


@pytest.mark.parametrize(("hours", "still"), [(11.0, True), (13.0, False)])
def test_what_is_on_for_half_a_day_is_always_on(hours: float, still: bool) -> None:
    readings = load_runs.weigh_rest((Reading((OnLoad(0.0, 2.0, 2.0, 0.0),)),), 2.1, 0.0, hours * HOUR_S)
    assert bool(readings[0].on) == still


@pytest.mark.parametrize(("apart_s", "runs"), [(35.0, [8.0]), (45.0, [3.0, 5.0])])
def test_a_reading_that_fell_into_a_start_makes_two_steps_of_one(apart_s: float, runs: list[float]) -> None:
    """3 A and then 5 A more, off together ten minutes later: one load where the readings lie close."""
    known = run_kinds.LengthCosts(tuple(FoundLoad(number, amperes, 600.0, 0.0, 2.0, 2) for number, amperes in enumerate((3.0, 5.0))))
    readings: tuple[Reading, ...] = (Reading(),)
    for step in (CurrentStep(0.0, -3.0), CurrentStep(apart_s, -5.0), CurrentStep(600.0, 8.0)):
        readings = load_runs.switch(readings, step, known, -DAY_S)
    assert sorted(run.current_a for run in readings[0].ended) == runs


def test_a_run_shorter_than_readings_tell_is_taken_as_a_short_one() -> None:
    """A pump of 20 s: five seconds and eighteen are alike, 22 and 25 are not."""
    pump = (FoundLoad(1, 5.0, 30.0, 0.0, 20.0, 20, run_spread_ln=0.5),)

    def chance(run_s: float) -> float:
        return run_kinds.chances(pump, LoadRun(0.0, run_s, 5.0, 5.0 * run_s), False)[0][1]

    assert chance(5.0) == chance(18.0)
    assert chance(22.0) != chance(25.0)


@pytest.mark.parametrize(("number", "apart_ln", "is_it"), [
    (2, 0.13, True), (2, 0.18, False), (1, 0.40, True), (1, 0.50, False)])
def test_a_name_is_found_again_by_the_current_more_freely_under_its_own_number(number: int, apart_ln: float, is_it: bool) -> None:
    load = FoundLoad(number, 4.0 * exp(apart_ln), 900.0, 0.0)
    assert bool(run_kinds.find_named((load,), (NamedLoad("fan", 1, 4.0, 900.0),))) == is_it


@pytest.mark.parametrize(("times", "is_it"), [(20.0, True), (40.0, False)])
def test_a_name_is_not_given_to_a_load_of_quite_another_length(times: float, is_it: bool) -> None:
    load = FoundLoad(2, 4.0, 600.0 * times, 0.0)
    assert bool(run_kinds.find_named((load,), (NamedLoad("fan", 1, 4.0, 600.0),))) == is_it


@pytest.mark.parametrize(("peak_a", "there"), [(0.5, False), (0.7, True)])
def test_a_panel_is_there_where_its_brightest_half_hour_says_so(peak_a: float, there: bool) -> None:
    light = tuple(max(0.0, peak_a * (1.0 - abs(slot - 24) / 12)) for slot in range(DAY_SLOTS))
    assert harvest.new_day(harvest.Sky(light_a=light, envelope_a=light, seen=(3,) * DAY_SLOTS)).by_harvest == there


@pytest.mark.parametrize(("total_a", "told"), [(3.5, False), (4.8, True)])
def test_a_dull_day_does_not_tell_when_noon_is(total_a: float, told: bool) -> None:
    """The sum of its half hours, about one hour: two or two and a half ampere-hours."""
    sun = tuple(total_a / 6 if 21 <= slot < 27 else 0.0 for slot in range(DAY_SLOTS))
    assert (solar_clock.middle_of(sun, 0, 0) is not None) == told
