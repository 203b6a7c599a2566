"""The starter battery alone: drains found in time, sound parkings left in peace, level, frost, saved state."""
from dataclasses import replace

import numpy as np
import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.detection.starter import starter
from monitor.findings import Estimate, JoinFindings, NotYet
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from monitor.store import saving
from tests.alert_words import assert_plain
from tests.benchmarks import parkings
from tests.benchmarks.bench_starter import park, vehicle

OPEN, CLOSED, RUNNING = JoinFindings("open", "off"), JoinFindings("closed", "off"), JoinFindings("closed", "running")
VEHICLE = Vehicle(Battery("house", "agm", 100), Battery("starter", "flooded", 70))
PLATE = parkings.build(np.random.default_rng(5))
PLATE = replace(PLATE, capacity_ah=65, label_ah=70, span_v=1.1, surface_v=0.3, decay_h=2.0, stretch=0.6, step_v=0.005,
                noise_v=0.002, standby_a=0.012, self_per_month=0.03)


def stand(volts_at, hours, join=OPEN, temperature_c=15.0, house_v=12.6, held=None, begin_h=0.0, car=VEHICLE, per_h=12):
    """Feed readings, per_h of them an hour; return the state and when which condition became active."""
    held, raised, active = held or starter.begin(), [], set()
    samples = (Sample(3600.0 / per_h * k, house_v, -0.5, volts_at(k / per_h), temperature_c)
               for k in range(int(begin_h * per_h) + 1, int((begin_h + hours) * per_h) + 1))
    for minute in minutes(samples):
        held = starter.update(held, minute, car, join(minute.end_s) if callable(join) else join)
        now = {c.kind for c in starter.conditions(held, car) if c.active}
        raised += [(minute.end_s / 3600, kind) for kind in now - active]
        active = now
    return held, raised


def settled(hour):
    return 12.70 + 0.3 * 2 ** (-hour / 2)


@pytest.mark.parametrize("drain_a, within_h", [(0.075, 30), (0.18, 20), (0.6, 7), (2.5, 3)])
def test_a_drain_that_begins_in_mid_park_is_found_in_time(drain_a, within_h):
    for seed in (1, 2):
        parked = parkings.parking(np.random.default_rng(seed), PLATE, 5, "spring", drain_a, 60.0, "air")
        _, found, _ = park(starter.begin(), parked, vehicle(PLATE), 0.0)
        assert found is not None
        assert 0 < found[0] - 60.0 <= within_h
        assert found[1].low_a < drain_a < found[1].high_a


@pytest.mark.parametrize("season", ["summer", "spring", "heat", "frost"])
def test_sound_parkings_are_left_in_peace(season):
    rng = np.random.default_rng(77)
    for old in (False, True):
        plate = parkings.build(rng, old=old)
        for thermometer in ("house", "none"):
            parked = parkings.parking(rng, plate, 6, season, thermometer=thermometer)
            assert park(starter.begin(), parked, vehicle(plate), 0.0)[1] is None


def test_an_hour_of_radio_is_not_called_a_drain():
    held, raised = stand(lambda h: settled(h) - (0.12 if 50 < h < 51.2 else 0.05 if h > 51.2 else 0), 80)
    assert raised == []


def test_a_lamp_left_on_is_found_said_and_over_when_it_is_put_out():
    def lamp(h):
        return settled(h) - (0 if h < 48 else 0.03 + 0.035 * (min(h, 56) - 48)) + (0.02 if h > 56 else 0)

    held, raised = stand(lamp, 54)
    assert [kind for _, kind in raised] == ["starter_drain"]
    assert raised[0][0] <= 51
    condition = next(c for c in starter.conditions(held, VEHICLE) if c.active)
    assert "start the engine for" in condition.evidence or "doubtful" in condition.evidence
    assert_plain(condition)
    assert condition.means and condition.look_first and condition.clears_when
    drain = starter.findings(held, VEHICLE).drain_a
    assert isinstance(drain, Estimate) and drain.low < 2.2 < drain.high
    assert f"a drain of {1000 * drain.value:.0f} mA" in condition.seen      # one figure for one thing: that of the pages
    assert starter.findings(held, VEHICLE).doubtful_after_s < 86400
    held, _ = stand(lamp, 24, held=held, begin_h=54)
    assert not any(c.active for c in starter.conditions(held, VEHICLE))


def test_a_cell_that_fails_is_said_at_once():
    held, raised = stand(lambda h: settled(h) - (1.9 if h > 40 else 0), 41)
    when = next(hour for hour, kind in raised if kind == "starter_drain")
    assert when - 40 < 0.5
    assert "within minutes" in next(c for c in starter.conditions(held, VEHICLE) if c.kind == "starter_drain").seen


def test_while_the_batteries_are_joined_nothing_is_called_a_drain():
    _, raised = stand(lambda h: 12.75 - 0.02 * h, 20, join=CLOSED)
    assert "starter_drain" not in [kind for _, kind in raised]


def test_an_isolator_that_is_not_shown_to_be_open_holds_the_verdict_back():
    _, raised = stand(lambda h: settled(h) - 0.03 * max(0.0, h - 48), 56, join=JoinFindings("unknown", "off"))
    assert "starter_drain" not in [kind for _, kind in raised]


def test_a_charge_seen_only_by_its_rise_begins_a_new_rest():
    held, raised = stand(lambda h: settled(h) if h < 40 else 12.70 + 0.4 * 2 ** (-(h - 40) / 2), 60)
    assert raised == []
    assert held.alone_s > 39 * 3600


def test_a_half_empty_battery_is_said_to_be_low_and_starts_the_advice():
    held, raised = stand(lambda h: 11.85, 4)
    kinds = {kind for _, kind in raised}
    assert {"starter_low", "will_not_start"} <= kinds
    advice = next(c for c in starter.conditions(held, VEHICLE) if c.kind == "will_not_start")
    assert "If it will not start" in advice.look_first


def test_no_help_is_promised_from_a_flat_house_battery():
    _, raised = stand(lambda h: 11.85, 4, house_v=11.9)
    assert "will_not_start" not in {kind for _, kind in raised}


@pytest.mark.parametrize("volts, temperature_c, warns", [(12.0, -16, True), (12.3, -16, False), (12.65, -30, False),
                                                         (11.75, -9, True), (11.75, 3, False)])
def test_frost_is_a_risk_for_a_discharged_battery_only(volts, temperature_c, warns):
    _, raised = stand(lambda h: volts, 4, temperature_c=temperature_c)
    assert ("starter_freeze_risk" in {kind for _, kind in raised}) is warns


def test_a_full_battery_that_recovers_from_a_load_in_hard_frost_is_neither_low_nor_about_to_freeze():
    """Loaded for half an hour, it came back from 11.7 V over hours: thin acid would stay where it is."""
    _, raised = stand(lambda h: 12.65 - 0.95 * 2 ** (-h / 1.2), 12, temperature_c=-17)
    assert {kind for _, kind in raised} <= {"will_not_start", "starter_under_voltage"}, raised
    _, raised = stand(lambda h: 11.9 - 0.2 * 2 ** (-h / 0.5), 6, temperature_c=-17)
    assert {"starter_low", "starter_freeze_risk"} <= {kind for _, kind in raised}, "flat indeed, and said once it has settled"


def test_without_a_thermometer_too_much_voltage_is_said_with_its_doubt():
    """-0.03 V a kelvin from 25 °C: at -22 °C a sound regulator gives 15.9 V, and nobody has measured how cold it is."""
    for temperature_c, doubted in ((None, True), (20.0, False)):
        held, _ = stand(lambda h: 15.95, 1, join=RUNNING, temperature_c=temperature_c)
        seen = next(c for c in starter.conditions(held, VEHICLE) if c.kind == "starter_over_voltage")
        assert seen.active and ("colder than freezing" in seen.evidence) is doubted


def test_weeks_below_three_quarters_are_said():
    _, raised = stand(lambda h: 12.32, 24 * 16, per_h=3)
    assert "starter_part_charged" in {kind for _, kind in raised}
    _, raised = stand(lambda h: 12.65, 24 * 16, per_h=3)
    assert raised == []


@pytest.mark.parametrize("volts, join, kind", [(15.5, RUNNING, "starter_over_voltage"),
                                               (11.5, OPEN, "starter_under_voltage")])
def test_voltages_out_of_range_are_said(volts, join, kind):
    _, raised = stand(lambda h: volts, 1, join=join)
    assert kind in {k for _, k in raised}


def test_lithium_starters_are_not_judged_by_their_voltage():
    car = Vehicle(Battery("house", "agm", 100), Battery("starter", "lfp", 60))
    held, raised = stand(lambda h: 13.3 - 0.001 * h, 60, car=car)
    assert raised == []
    assert isinstance(starter.findings(held, car).drain_a, NotYet)


def test_nothing_is_known_before_the_surface_charge_had_some_hours():
    held, _ = stand(settled, 1.5)
    assert isinstance(starter.findings(held, VEHICLE).rest_voltage_v, NotYet)
    held, _ = stand(settled, 30)
    rest = starter.findings(held, VEHICLE).rest_voltage_v
    assert rest.low < 12.70 < rest.high


def test_what_is_usual_is_learnt_from_sound_parkings_only():
    sound = parkings.parking(np.random.default_rng(3), PLATE, 3, "spring", thermometer="air")
    held, _, _ = park(starter.begin(), sound, vehicle(PLATE), 0.0)
    assert held.usual.count == 1
    drained = parkings.parking(np.random.default_rng(4), PLATE, 4, "spring", 0.6, 40.0, "air")
    held, _, _ = park(held, drained, vehicle(PLATE), 1e6)
    assert held.usual.count == 1


def test_the_state_survives_saving_and_goes_on_alike():
    held, _ = stand(settled, 30)
    again = saving.from_text(starter.StarterState, saving.to_text(held))
    assert again == held
    assert stand(settled, 3, held=again, begin_h=30)[0] == stand(settled, 3, held=held, begin_h=30)[0]
