"""Where the step of a lithium curve lies: the row of guesses, and what an early step tells."""
import numpy as np
import pytest

from drivers.vehicle import Plan
from monitor.battery.label import Battery, CurrentSensor
from monitor.estimation import charge_filter, charge_guesses, kalman
from monitor.estimation.charge_filter import CAPACITY, LEVEL, SPAN
from monitor.findings import ChargeFindings, Estimate
from tests.benchmarks.bench_charge import score
from tests.benchmarks.bench_charge_ensemble import lived
from tests.benchmarks.ensemble import vehicles

LITHIUM, SENSOR = Battery("house", "lfp", 100.0), CurrentSensor()


def test_a_part_of_a_belief_is_the_gaussian_given_that_quantity() -> None:
    """Against the conditional of a Gaussian (Eaton, Multivariate Statistics, 1983, 3.4), in numpy."""
    root = np.random.default_rng(3).normal(size=(4, 4))
    full = root @ root.T + np.eye(4)
    mean = np.array([1.0, -2.0, 0.5, 3.0])
    part = kalman.narrowed(kalman.Belief(tuple(mean), tuple(map(tuple, full))), 1, 0.7, 0.2)
    others = [0, 2, 3]
    slopes = full[others, 1] / full[1, 1]
    within = full[np.ix_(others, others)] - np.outer(slopes, full[others, 1])
    assert part.mean[1] == pytest.approx(0.7) and part.sigma(1) == pytest.approx(0.2)
    assert np.array(part.mean)[others] == pytest.approx(mean[others] + slopes * (0.7 - mean[1]))
    got = np.array(part.covariance)
    assert got[np.ix_(others, others)] == pytest.approx(within + np.outer(slopes, slopes) * 0.2**2)


def test_two_quantities_that_are_parted_say_nothing_of_each_other() -> None:
    belief = charge_filter.begin(LITHIUM, SENSOR)
    tied = kalman.tied(belief, SPAN, {CAPACITY: 0.5})
    parted = kalman.parted(tied, SPAN, CAPACITY)
    assert tied.covariance[SPAN][CAPACITY] != 0.0 and parted.covariance[SPAN][CAPACITY] == 0.0
    assert parted.sigma(SPAN) == tied.sigma(SPAN) and parted.sigma(LEVEL) == tied.sigma(LEVEL)


def test_an_early_step_means_less_capacity_unless_that_was_measured() -> None:
    belief = charge_filter.begin(LITHIUM, SENSOR)
    row = charge_guesses.stepped(belief, LITHIUM, SENSOR, capacity_known=False)
    early = [g.belief for g in row if charge_guesses.early(g)]
    assert 3 <= len(early) < len(row)
    assert all(b.mean[CAPACITY] < belief.mean[CAPACITY] for b in early[1:])
    assert [b.mean[CAPACITY] for b in early] == sorted((b.mean[CAPACITY] for b in early), reverse=True)
    measured = charge_guesses.stepped(belief, LITHIUM, SENSOR, capacity_known=True)
    assert max(abs(g.belief.mean[CAPACITY] - belief.mean[CAPACITY]) for g in measured) < 1e-9


def at_the_end(plan: Plan) -> tuple[float, ChargeFindings, int]:
    """True capacity, what is told, and how many full charges there were."""
    rows: list[tuple[float, ChargeFindings, int]] = []
    score(lived(plan, 120.0), lambda _t, _z, capacity_ah, found, held: rows.append((capacity_ah, found, held.fulls)))
    return rows[-1]


def test_weeks_of_full_charges_tell_a_worn_battery_and_accuse_no_sound_one() -> None:
    """Vehicles of the simulated kind whose curve is not the filter's; the benchmark has thirty of each."""
    off_worn, inside, total = [], 0, 0
    for case in ("lithium", "lithium worn"):
        for plan in vehicles(case, 3, seed=41, days=14.0):
            capacity_ah, found, fulls = at_the_end(plan)
            told = found.capacity_ah
            assert isinstance(told, Estimate)
            total, inside = total + 1, inside + (told.low <= capacity_ah <= told.high)
            if case == "lithium worn" and fulls >= 5:
                off_worn.append(abs(told.value / capacity_ah - 1.0))
            if case == "lithium":
                assert told.high > 0.9 * capacity_ah
    assert inside >= total - 1
    assert len(off_worn) >= 2 and sum(off_worn) / len(off_worn) < 0.12
