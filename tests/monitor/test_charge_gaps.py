"""Charge of a lead-acid battery over silences, and while a charger holds it: what may be learnt there, and what not."""
import dataclasses
from math import exp, pi, sqrt

import numpy as np
import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.estimation import charge, kalman
from monitor.estimation.charge_filter import CAPACITY, DEPTH, LEVEL, OFFSET
from monitor.findings import Estimate
from monitor.usage import usual_load
from monitor.usage.usual_load import UsualLoad
from tests.benchmarks.bench_measured import Sums, run
from tests.benchmarks.lead_makes import lives
from tests.benchmarks.measured import FAULTS, SPARSE, Fault, starts
from tests.monitor.test_charge import AGM, DAY_MIN, STARTER, Plain, camp, minute, value

CHARGES_UNSEEN = next(f for f in FAULTS if f.charges_unseen)


def depth_sigma_frac(held: charge.ChargeState) -> float:
    belief = held.belief
    return belief.sigma(DEPTH) / exp(belief.mean[CAPACITY])


def test_days_at_float_loosen_nothing_and_teach_nothing() -> None:
    held, battery = charge.begin(AGM), Plain(92.0, 80.0, 12.90, 11.80, 0.008)
    for k in range(300):
        volts, amps = battery.step(12.0)
        held = charge.update(held, minute(k, amps, volts), AGM)
    belief, known = held.belief, depth_sigma_frac(held)
    assert known < 0.025
    for k in range(300, 300 + 3 * DAY_MIN):
        held = charge.update(held, minute(k, 0.12, 13.6), AGM)
    later = held.belief
    assert depth_sigma_frac(held) < 1.15 * known
    assert later.mean[OFFSET] == pytest.approx(belief.mean[OFFSET], abs=1e-6)
    assert later.mean[LEVEL] == pytest.approx(belief.mean[LEVEL], abs=1e-6)
    assert value(charge.findings(held, AGM).charge_frac) > 0.97


def test_both_sides_of_a_gap_come_before_habits() -> None:
    """At this hour 6 A are usual; both sides of twenty minutes' silence showed -0.04 A."""
    usual = UsualLoad(mean_a=(-6.0,) * 24, variance_a2=(1.0,) * 24, days=(4.0,) * 24)
    charge_ah, sigma_ah = usual_load.bridge(usual, 1200.0, 20.0, 72000.0, -0.04, -0.04, 100.0)
    assert charge_ah == pytest.approx(-0.04 / 3)
    # it may have been otherwise all the same, but not in a log that is always read so seldom
    assert sigma_ah > 0.4
    assert usual_load.bridge(usual, 1200.0, 20.0, 72000.0, -0.04, -0.04, 100.0, seldom=True)[1] == pytest.approx(1.5 / 3**0.75)


def test_a_long_gap_is_left_to_habits_where_the_hours_were_seen() -> None:
    usual = UsualLoad(mean_a=(-6.0,) * 24, variance_a2=(0.04,) * 24, days=(4.0,) * 24)
    charge_ah, sigma_ah = usual_load.bridge(usual, 4 * 3600.0, 20.0, 72000.0, 0.0, 0.0, 100.0)
    assert charge_ah == pytest.approx(-6.0 * 3.0)
    hidden = dataclasses.replace(usual, missed=(4.0,) * 24)
    blind_ah, blind_sigma = usual_load.bridge(hidden, 4 * 3600.0, 20.0, 72000.0, 0.0, 0.0, 100.0)
    assert blind_ah == pytest.approx(-6.0 * 3.0 / 2) and blind_sigma > 1.5 * sigma_ah
    unseen = usual_load.bridge(UsualLoad(), 8 * 3600.0, 20.0, 72000.0, -2.0, -2.0, 100.0)
    assert unseen[0] == pytest.approx(-16.0) and 40.0 < unseen[1] < 60.0


def test_hours_that_were_never_logged_are_known_as_such() -> None:
    usual = UsualLoad(mean_a=(-2.0,) * 24, days=(4.0,) * 24)
    after = usual_load.skip(usual, 3 * 3600.0, 12.0, 43200.0)
    assert [round(after.missed[h], 2) for h in (8, 9, 10, 11, 12)] == [0.0, 1.0, 1.0, 1.0, 0.0]
    assert after.trust(10) == pytest.approx(0.8) and usual.trust(10) == 1.0 and UsualLoad().trust(3) == 0.0
    assert usual_load.skip(usual, 300.0, 12.0, 43200.0) == usual


def test_a_board_that_was_off_while_it_was_charged_is_right_within_an_hour_of_discharge() -> None:
    battery = Plain(92.0, 60.0, 12.90, 11.80, 0.008)
    off = range(DAY_MIN + 9 * 60, DAY_MIN + 16 * 60)
    rows = list(camp(AGM, battery, 2, skip=lambda k: k in off))
    before, true_before = rows[off[0] - 1][1].charge_frac, rows[off[0] - 1][2]
    again, true = rows[off[-1] + 61][1].charge_frac, rows[off[-1] + 61][2]
    assert true - true_before > 0.15, "it was charged in the meantime"
    assert abs(again.value - true) < 0.08 and again.low <= true <= again.high
    assert before.low <= true_before <= before.high


def test_a_voltage_that_fits_nothing_after_a_silence_is_believed() -> None:
    """Drained to a fifth, then two hours in which an alternator filled it: 0.8 V more than anybody would guess."""
    held, left = charge.begin(AGM), 40.0
    for k in range(600):
        left -= 2.0 / 60
        held = charge.update(held, minute(k, -2.0, 11.8 + 1.1 * left / 92.0 - 0.016), AGM)
    held = charge.update(held, dataclasses.replace(
        minute(720, -2.0, 12.7), start_s=36000.0, gap_s=120 * 60.0, covered_s=60.0), AGM)
    for k in range(721, 800):
        held = charge.update(held, minute(k, -2.0, 12.7 - 0.0004 * (k - 720)), AGM)
    found = charge.findings(held, AGM).charge_frac
    assert isinstance(found, Estimate) and found.value > 0.6


def test_while_current_flows_in_a_battery_is_not_fuller_than_its_voltage() -> None:
    held = charge.begin(AGM)
    for k in range(120):
        held = charge.update(held, minute(k, 8.0, 12.1), AGM)
    found = charge.findings(held, AGM).charge_frac
    assert isinstance(found, Estimate) and found.value < 0.5
    belief = held.belief
    assert belief.mean[LEVEL] == 0.0 and belief.sigma(LEVEL) == pytest.approx(0.1, rel=0.02), "that is no rest voltage to learn from"


def test_a_figure_within_ten_minutes_of_switching_on() -> None:
    held, first = charge.begin(AGM), None
    for k in range(20):
        held = charge.update(held, minute(1000 + k, -3.0, 12.4), AGM)
        if first is None and isinstance(charge.findings(held, AGM).charge_frac, Estimate):
            first = k + 1
    assert first is not None and first <= 10


def test_a_bound_leaves_what_is_left_of_a_gaussian() -> None:
    belief = kalman.begin((0.0, 5.0), (1.0, 2.0))
    rows = ((1.0, 1.0), (1.0, 4.0))
    belief = kalman.Belief(belief.mean, rows)
    half = kalman.truncate(belief, 0, 0.0, 100.0)
    assert half.mean[0] == pytest.approx(sqrt(2 / pi)) and half.covariance[0][0] == pytest.approx(1 - 2 / pi)
    assert half.mean[1] == pytest.approx(5.0 + sqrt(2 / pi)), "what is tied to it moves along"
    assert kalman.truncate(belief, 0, -9.0, 9.0) == belief
    assert kalman.truncate(belief, 0, 8.0, 9.0).mean[0] == pytest.approx(8.0, abs=0.3)


def test_a_part_of_a_belief_is_the_gaussian_given_that_quantity() -> None:
    """Against the conditional of a Gaussian (Eaton, Multivariate Statistics, 1983, 3.4), in numpy."""
    root = np.random.default_rng(3).normal(size=(4, 4))
    full = root @ root.T + np.eye(4)
    mean = np.array([1.0, -2.0, 0.5, 3.0])
    part = kalman.condition_on(kalman.Belief(tuple(mean), tuple(map(tuple, full))), 1, 0.7, 0.2)
    others = [0, 2, 3]
    slopes = full[others, 1] / full[1, 1]
    within = full[np.ix_(others, others)] - np.outer(slopes, full[others, 1])
    assert part.mean[1] == pytest.approx(0.7) and part.sigma(1) == pytest.approx(0.2)
    assert np.array(part.mean)[others] == pytest.approx(mean[others] + slopes * (0.7 - mean[1]))
    got = np.array(part.covariance)
    assert got[np.ix_(others, others)] == pytest.approx(within + np.outer(slopes, slopes) * 0.2**2)


def test_one_quantity_alone_may_learn() -> None:
    belief = kalman.Belief((0.0, 0.0), ((4.0, 1.0), (1.0, 9.0)))
    one = kalman.update_consider(belief, (1.0, 1.0), 3.0, 1.0, 0)
    gain = 5.0 / 16.0
    assert one.mean == (pytest.approx(3.0 * gain), 0.0) and one.covariance[1][1] == 9.0
    assert one.covariance[0][0] == pytest.approx(4.0 - 2 * gain * 5.0 + gain * gain * 16.0)
    assert one.covariance[0][1] == pytest.approx(1.0 - gain * 10.0) == pytest.approx(one.covariance[1][0])
    alone = kalman.update_alone(belief, 0, 2.0, 4.0)
    assert alone.mean == (1.0, 0.0) and alone.covariance == ((2.0, 0.5), (0.5, 9.0))


def figures(kind: str, fault: Fault, hours: float) -> dict[str, Sums]:
    found = {phase: Sums() for phase in ("before", "full", "empty")}
    for recording in lives(kind, 2, 5, 4.0):
        for start in starts(recording, 3):
            result = run("monitor.estimation.charge", recording, start, hours, fault, unlike=False)
            for phase, total in found.items():
                if ("all", phase) in result.sums:
                    total.merge(result.sums["all", phase])
    return found


@pytest.mark.slow
@pytest.mark.parametrize("fault", [FAULTS[0], CHARGES_UNSEEN, SPARSE[0]], ids=lambda f: f.name)
def test_batteries_of_stronger_acid_than_any_table_s(fault: Fault) -> None:
    """Rest curves that are none of the tracker's: 13.0 to 13.2 V full, falling by 1.3 to 1.7 V."""
    found = figures("strong acid", fault, 30.0)
    before, full = found["before"], found["full"]
    assert before.covered >= 0.85 * before.count and 100 * sqrt(before.squares / before.count) < 10.0
    assert full.covered >= 0.92 * full.count and 100 * full.width / full.count < 13.0


def test_thin_acid_is_expected_where_the_owner_measured_it() -> None:
    usual, thin = (Vehicle(Battery("house", "flooded", 100.0, acid_density_kg_l=d), STARTER) for d in (None, 1.21))
    told = []
    for vehicle in (usual, thin):
        held = charge.begin(vehicle)
        for k in range(120):
            held = charge.update(held, minute(k, -2.0, 12.26), vehicle)
        told.append(value(charge.findings(held, vehicle).charge_frac))
    assert told[0] < 0.7 < 0.9 < told[1], "12.28 V at rest: 6 x (1.21 + 0.84) = 12.3 V is full"


def test_a_full_battery_does_not_creep_down_all_night_because_nobody_looks() -> None:
    """Nothing usual is known of the night yet, and nothing flowed before it: no charge is booked, and the doubt is one."""
    held, battery = charge.begin(AGM), Plain(92.0, 80.0, 12.90, 11.80, 0.008)
    for k in range(300):
        volts, amps = battery.step(12.0)
        held = charge.update(held, minute(k, amps, volts), AGM)
    for k in range(300, 320):
        held = charge.update(held, minute(k, 0.0, 12.95), AGM)
    for k in range(320, 320 + 4 * 60):
        held = charge.update(held, minute(k, None, None), AGM)
    told = charge.findings(held, AGM).charge_frac
    assert isinstance(told, Estimate) and told.value > 0.93 and told.low < 0.85


def test_charge_that_goes_into_an_empty_battery_fills_no_hole_below_empty() -> None:
    """It goes on giving a little for hours below its knee; then it is charged by 8 Ah of 92."""
    held, battery = charge.begin(AGM), Plain(92.0, 80.0, 12.90, 11.80, 0.008)
    k = 0
    while battery.left_ah < 91.0:
        volts, amps = battery.step(12.0)
        held, k = charge.update(held, minute(k, amps, volts), AGM), k + 1
    while battery.left_ah > 1.0:
        volts, amps = battery.step(-4.6)
        held, k = charge.update(held, minute(k, amps, volts if battery.left_ah > 3.0 else 10.9), AGM), k + 1
    for _ in range(9 * 60):     # the last of it runs out at an ampere
        held, k = charge.update(held, minute(k, -1.0, 10.8), AGM), k + 1
    for _ in range(2 * 60):
        held, k = charge.update(held, minute(k, 4.0, 12.2), AGM), k + 1
    told = charge.findings(held, AGM).charge_frac
    assert isinstance(told, Estimate) and told.value > 0.06
