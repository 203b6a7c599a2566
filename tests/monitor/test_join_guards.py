"""Limits of engine, isolator, path and uncharged run that short lives seldom reach: just inside and just outside each of them."""
from dataclasses import replace

import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.detection.join import alternator_control, engine, held_up, join_faults, path_resistance, relay_release, uncharged_run
from monitor.detection.join.isolator_evidence import IsolatorEvidence
from monitor.detection.join.join_record import JoinRecord
from monitor.detection.join.points import Point
from monitor.findings import Estimate, NotYet
from monitor.sample import Minute, Sample

VEHICLE = Vehicle(Battery("house", "agm", 100), Battery("starter", "flooded", 70))
RUNS, STANDS = engine.EngineState(state="running", house_before_a=0.0), engine.EngineState(state="off")
ALIKE = 8      # shares that a joined starter may follow by


def point(at_s, starter_v, house_v=None, house_a=None, span_s=60.0):
    return Point(at_s, span_s, starter_v, house_v, house_a, starter_v)


def noted(record, at, run=STANDS, was="off", isolator="closed", before="closed", touching=IsolatorEvidence(), built="isolator"):
    return join_faults.note(record, at, run, was, isolator, before, touching, built, VEHICLE)


def test_a_belief_in_a_throttled_alternator_outlasts_three_plain_drives_and_no_more():
    known = alternator_control.AlternatorControl()
    for _ in range(3):
        known = alternator_control.begin_drive(alternator_control.note_return(alternator_control.note_return(known)))
    for _ in range(3):
        known = alternator_control.begin_drive(known)
        assert alternator_control.is_controlled(known)
    assert not alternator_control.is_controlled(alternator_control.begin_drive(known))


@pytest.mark.parametrize(("house_v", "state"), [(13.85, "running"), (13.95, "unknown")])
def test_a_log_that_begins_high_is_of_a_running_engine_where_the_house_lies_well_below(house_v, state):
    assert engine.step(engine.EngineState(), (point(60, 14.2, house_v, 0.0),), False, None).state == state


@pytest.mark.parametrize(("on", "state"), [(0.6, "running"), (0.4, "off")])
def test_the_ignition_wire_counts_from_half_a_minute_on(on, state):
    assert engine.step(engine.EngineState(), (point(60, 14.0),), False, on).state == state


@pytest.mark.parametrize(("at_s", "state"), [(6000, "unknown"), (9000, "off")])
def test_a_voltage_that_nobody_saw_rise_is_a_charger_after_two_hours(at_s, state):
    high = engine.EngineState(state="unknown")
    assert engine.step(high, (point(at_s - 60, 13.9), point(at_s, 13.9)), False, None).state == state


@pytest.mark.parametrize(("rise", "state"), [(0.04, "off"), (0.06, "unknown")])
def test_an_engine_is_off_where_the_voltage_no_longer_rises(rise, state):
    doubt = engine.EngineState(state="unknown")
    assert engine.step(doubt, (point(60, 12.5), point(120, 12.5 + rise)), False, None).state == state


@pytest.mark.parametrize(("taken_a", "fell_v", "state"), [
    (4.5, 0.05, "off"), (3.5, 0.05, "running"), (9.0, 0.035, "off"), (9.0, 0.025, "running")])
def test_a_stiff_house_battery_that_gives_many_amperes_lifts_the_starter_itself(taken_a, fell_v, state):
    at_rest = engine.EngineState(state="off", rest_v=12.6)
    two = (point(60, 12.9, 13.7, 2.0), point(120, 13.5, 13.7 - fell_v, 2.0 - taken_a))
    assert engine.step(at_rest, two, False, None).state == state


@pytest.mark.parametrize(("for_s", "runs"), [(105, False), (130, True)])
def test_a_voltage_that_stays_where_alternators_charge_is_an_engine_after_two_minutes(for_s, runs):
    held = held_up.HeldUp(13.9, 13.9, for_s)
    assert held_up.engine_runs_on(held, point(1000, 13.9), 700.0) is runs


@pytest.mark.parametrize(("fed_a", "minutes", "missed"), [(3.5, 5, 0), (2.5, 5, 1), (20.0, 3, 0), (20.0, 2, 1)])
def test_a_run_whose_house_is_fed_otherwise_is_not_missed_by_the_isolator(fed_a, minutes, missed):
    record = JoinRecord()
    for k in range(5):
        record = noted(record, point(60.0 * (k + 1), 14.2, 13.0, fed_a if k < minutes else 0.0), RUNS, "off" if k == 0 else "running",
                       "open", "open")
    assert record.runs_missed == missed


@pytest.mark.parametrize(("odds", "later_s", "joins"), [(-5.5, 1500, 1), (-5.5, 2200, 0), (-4.5, 1500, 0)])
def test_a_relay_that_closes_soon_after_it_was_plainly_open_was_closed_by_the_house(odds, later_s, joins):
    apart = noted(JoinRecord(), point(0, 12.7, 13.4, 3.0), isolator="open", before="open", touching=IsolatorEvidence(odds=odds))
    joined = noted(apart, point(later_s, 13.3, 13.4, 1.0), isolator="closed", before="open", touching=IsolatorEvidence(odds=2.0))
    assert joined.house_joins == joins


@pytest.mark.parametrize(("minutes", "house_v", "counts"), [(100, 14.2, False), (140, 14.2, True), (140, 13.7, False)])
def test_under_sun_joined_time_counts_for_a_relay_that_stayed_open_under_it_for_two_hours(minutes, house_v, counts):
    record, apart = JoinRecord(), IsolatorEvidence(odds=-6.0)
    for k in range(minutes):
        record = noted(record, point(60.0 * k, 12.7, house_v, 3.0), isolator="open", before="open", touching=apart)
    joined = noted(record, point(60.0 * minutes, 13.2, 13.4, 3.0), before="closed", touching=IsolatorEvidence(odds=3.0))
    assert (joined.joined_s > 0) is counts


def test_no_more_than_eight_openings_are_kept():
    run = JoinRecord(run_closed=True, starter_v=14.2, house_v=14.0, house_a=10.0, openings=tuple(range(9)))
    assert noted(run, point(400, 14.2, 13.6, 3.0), RUNS, "running").openings == (2, 3, 4, 5, 6, 7, 8, 400)


@pytest.mark.parametrize(("later_h", "kept"), [(5, 1), (7, 0)])
def test_openings_are_forgotten_after_six_hours(later_h, kept):
    before = JoinRecord(openings=(0.0,))
    assert len(noted(before, point(3600.0 * later_h, 14.2, 14.0, 5.0), RUNS, "off").openings) == kept


@pytest.mark.parametrize(("likes", "joined"), [(3.5, True), (2.6, False)])
def test_joined_at_rest_takes_steps_that_say_so_by_themselves(likes, joined):
    touching = IsolatorEvidence(odds=4.5, steps=6, likes=(likes,) * ALIKE)
    assert noted(JoinRecord(), point(0, 12.6, 12.6, -4.0), touching=touching).joined_at_rest is joined


@pytest.mark.parametrize(("likes", "stuck"), [(3.0, True), (2.2, False)])
def test_stuck_closed_takes_steps_that_say_so_by_themselves(likes, stuck):
    touching = IsolatorEvidence(odds=5.0, steps=6, likes=(likes,) * ALIKE)
    assert noted(JoinRecord(low_s=6000.0), point(0, 12.3, 12.3, -4.0), touching=touching).stuck is stuck


def test_a_relay_that_the_sun_holds_for_days_is_not_stuck():
    """Of no relay that goes by voltage is it known that it should have opened, as long as the batteries stay high."""
    touching = IsolatorEvidence(odds=6.0, steps=50, likes=(5.0,) * ALIKE)
    assert not noted(JoinRecord(joined_s=9 * 86400.0), point(0, 12.8, 12.8, -4.0), touching=touching).stuck


@pytest.mark.parametrize(("at_s", "holds"), [(800, 1), (1000, 0)])
def test_current_towards_the_higher_voltage_is_a_chargers_soon_after_the_start(at_s, holds):
    assert noted(JoinRecord(), point(at_s, 13.5, 13.7, 8.0), RUNS, "running").holds == holds


@pytest.mark.parametrize(("more_a", "follows"), [(5.0, 0), (7.0, 1)])
def test_what_a_path_should_pass_is_not_reckoned_from_a_small_difference(more_a, follows):
    begun = JoinRecord(from_v=0.15, from_a=12.0, from_starter_v=14.0)
    assert noted(begun, point(400, 14.0, 13.65, 12.0 + more_a), RUNS, "running").follows == follows


@pytest.mark.parametrize(("house_joins", "volts", "counts"), [(1, 12.5, False), (1, 12.4, True), (0, 12.5, True)])
def test_a_relay_that_closes_from_both_sides_is_given_a_tenth_of_a_volt_more(house_joins, volts, counts):
    assert relay_release.release_voltage_v(JoinRecord(house_joins=house_joins)) > 12.4
    record = noted(JoinRecord(house_joins=house_joins), point(60, volts, volts, -4.0))
    assert (record.low_s > 0) is counts


def edges(count, from_s=0.0, ohm=0.02):
    return tuple((from_s + k, 20.0 + k, ohm * (20.0 + k)) for k in range(count))


def test_a_path_is_compared_with_itself_from_five_first_and_three_later_edges_on():
    assert path_resistance.growth(path_resistance.PathResistance(edges(5), edges(3, 100.0))) is not None
    assert path_resistance.growth(path_resistance.PathResistance(edges(4), edges(3, 100.0))) is None
    assert path_resistance.growth(path_resistance.PathResistance(edges(5), edges(2, 100.0))) is None


def test_a_throttled_alternator_takes_four_edges():
    assert isinstance(path_resistance.estimate(path_resistance.PathResistance(edges(3), edges(3)), True), NotYet)
    assert isinstance(path_resistance.estimate(path_resistance.PathResistance(edges(4), edges(4)), True), Estimate)


@pytest.mark.parametrize(("apart_s", "found"), [(150.0, 1), (200.0, 0)])
def test_an_edge_is_not_looked_for_across_a_hole(apart_s, found):
    five = tuple(point(apart_s * k, 14.2, house_v, house_a, apart_s) for k, (house_v, house_a) in enumerate(
        ((12.8, 0.0), (12.8, 0.0), (13.4, 10.0), (13.6, 20.0), (13.6, 20.0))))
    assert path_resistance.step(path_resistance.PathResistance(open_s=1.0), five, "closed").edges == found


def minute(end_s, volts, low_v=None, samples=60, house_v=None, house_a=None, long_s=60.0):
    return Minute(end_s - long_s, end_s, tuple(Sample(end_s - k, house_v, house_a, volts) for k in range(samples)),
                  starter_voltage_v=volts, starter_voltage_low_v=low_v, house_voltage_v=house_v, house_current_a=house_a)


def lived(state, each, isolator="open"):
    for one in each:
        state = uncharged_run.update(state, one, STANDS, isolator, isolator == "open", 0.004)
    return state


RESTED = uncharged_run.UnchargedRun(rest_v=12.7, now_v=12.7, house_a=-1.0)


@pytest.mark.parametrize(("dip_v", "samples", "began"), [(1.2, 60, "start"), (0.9, 60, ""), (1.2, 8, "start"), (1.2, 6, "")])
def test_a_start_is_a_dip_of_a_volt_in_a_minute_of_many_readings(dip_v, samples, began):
    assert lived(RESTED, [minute(60, 12.6, 12.7 - dip_v, samples)]).began == began


@pytest.mark.parametrize(("later_s", "tries"), [(240, 2), (360, 1)])
def test_starts_within_five_minutes_are_tries_of_one(later_s, tries):
    assert lived(RESTED, [minute(60, 12.6, 11.5), minute(60 + later_s, 12.6, 11.0)]).tries == tries


@pytest.mark.parametrize(("end_s", "long_s", "loaded_s"), [(180, 60.0, 60.0), (150, 30.0, 0.0)])
def test_load_counts_once_two_minutes_have_passed_since_the_start(end_s, long_s, loaded_s):
    assert lived(replace(RESTED, began="start", begun_s=60.0), [minute(end_s, 12.4, long_s=long_s)]).loaded_s == loaded_s


@pytest.mark.parametrize(("falls_v", "found"), [(0.010, True), (0.007, False)])
def test_a_running_engine_takes_what_lowers_a_battery_by_some_millivolts_in_five_minutes(falls_v, found):
    started = replace(RESTED, began="start", tries=1)
    assert lived(started, [minute(180 + 60 * k, 12.4 - falls_v * (k // 5)) for k in range(16)]).found is found


@pytest.mark.parametrize(("at_s", "began"), [(6000, "start"), (8400, "")])
def test_a_start_is_followed_for_two_hours(at_s, began):
    assert lived(replace(RESTED, began="start", tries=1), [minute(at_s, 12.65)]).began == began


def fed(above_v):
    """An hour after the end of charging, the batteries joined by a thick cable: house above starter by so much."""
    ended = uncharged_run.UnchargedRun("run", 0.0, 0, 12.65, -1.0, joined=True)
    volts = [12.5 - 0.01 * (k // 5) for k in range(60)]
    return lived(ended, [minute(180 + 60 * k, v, house_v=v + above_v, house_a=-6.0) for k, v in enumerate(volts)], "closed")


@pytest.mark.parametrize(("above_v", "found"), [(0.035, True), (0.025, False)])
def test_a_house_battery_feeds_the_starter_side_where_it_stands_above_it_by_more_than_meters_differ(above_v, found):
    assert fed(above_v).found is found


@pytest.mark.parametrize(("minutes", "goes_on"), [(25, True), (35, False)])
def test_a_run_that_the_house_feeds_is_over_half_an_hour_after_that_flow(minutes, goes_on):
    quiet = [minute(4000 + 60 * k, 12.39, house_v=12.39, house_a=-1.0) for k in range(minutes)]
    state = lived(fed(0.05), quiet, "closed")
    assert state.found and state.goes_on is goes_on
