"""The estimator's algebra against numpy and scipy, and its tables against what they are made of."""
from math import exp, log
from random import Random

import numpy as np
import pytest
import scipy

from monitor.battery import charge_loss, rest_curves
from monitor.estimation import charge_filter, families, gaussian, kalman, predict, prior, surroundings, triangle, update
from monitor.estimation.observations import reading
from monitor.estimation.state import CAPACITY, CHARGE, DIFFUSION, KINETIC, LOSS, OFFSET, SIZE, Component
from monitor.posterior import Posterior, quantiles
from tests.monitor.test_charge import AGM, LITHIUM

RNG = np.random.default_rng(5)


def random_gaussian(n: int) -> tuple[np.ndarray, np.ndarray]:
    root = RNG.normal(size=(n, n))
    return RNG.normal(size=n), root @ root.T + np.eye(n)


def packed(matrix: np.ndarray) -> tuple[float, ...]:
    return triangle.of_rows(matrix.tolist())


def whole(numbers: tuple[float, ...], n: int) -> np.ndarray:
    return np.array([pick(numbers) for pick in triangle.layout(n).rows])


def test_a_measurement_is_the_conditional_of_a_gaussian() -> None:
    mean, cov = random_gaussian(5)
    slopes = {0: 1.0, 3: -2.0}
    row = np.array([1.0, 0.0, 0.0, -2.0, 0.0])
    cross = gaussian.times(packed(cov), slopes, 5)
    total = gaussian.along(cross, slopes) + 0.3
    assert np.array(cross) == pytest.approx(cov @ row) and total == pytest.approx(row @ cov @ row + 0.3)
    miss = 0.8
    new_mean, new_cov = gaussian.update(tuple(mean), packed(cov), cross, miss, total)
    gain = cov @ row / total
    assert np.array(new_mean) == pytest.approx(mean + gain * miss)
    assert whole(new_cov, 5) == pytest.approx(cov - np.outer(gain, cov @ row))
    assert gaussian.log_density(miss, total) == pytest.approx(scipy.stats.multivariate_normal(0.0, total).logpdf(miss))


def test_a_considered_quantity_keeps_mean_and_variance_and_the_rest_stays_consistent() -> None:
    """Joseph's form with that row of the gain set to nothing (Schmidt 1966)."""
    mean, cov = random_gaussian(4)
    slopes, row = {0: 1.0, 2: 0.5}, np.array([1.0, 0.0, 0.5, 0.0])
    cross = gaussian.times(packed(cov), slopes, 4)
    total = gaussian.along(cross, slopes) + 0.2
    new_mean, new_cov = gaussian.update(tuple(mean), packed(cov), cross, 1.1, total, (2,))
    gain = cov @ row / total
    gain[2] = 0.0
    left = np.eye(4) - np.outer(gain, row)
    assert np.array(new_mean) == pytest.approx(mean + gain * 1.1)
    assert whole(new_cov, 4) == pytest.approx(left @ cov @ left.T + 0.2 * np.outer(gain, gain))
    assert whole(new_cov, 4)[2, 2] == pytest.approx(cov[2, 2]) and new_mean[2] == pytest.approx(mean[2])


def test_merging_keeps_the_moments_and_splitting_nearly_does() -> None:
    parts = [(log(w), *random_gaussian(3)) for w in (0.2, 0.5, 0.3)]
    weight, mean, cov = gaussian.merge([(w, tuple(m), packed(c)) for w, m, c in parts])
    want = sum(exp(w) * m for w, m, _ in parts)
    spread = sum(exp(w) * (c + np.outer(m - want, m - want)) for w, m, c in parts)
    assert weight == pytest.approx(0.0, abs=1e-9) and np.array(mean) == pytest.approx(want) and whole(cov, 3) == pytest.approx(spread)
    whole_mean, wide = random_gaussian(3)
    direction = np.array([1.0, 0.5, 0.0])
    three = gaussian.split(tuple(whole_mean), packed(wide), list(wide @ direction), float(direction @ wide @ direction))
    again = gaussian.merge(three)
    assert np.array(again[1]) == pytest.approx(whole_mean)
    assert whole(again[2], 3) == pytest.approx(wide, rel=0.05, abs=0.05 * float(np.abs(wide).max()))


def test_which_part_of_a_split_wins_teaches_nothing_of_what_is_left_untouched() -> None:
    """As Schmidt's considered quantity: mean and variance stay in each part, and each part is still a Gaussian."""
    mean, cov = random_gaussian(4)
    direction = np.array([1.0, 0.5, 0.0, -0.3])
    parts = gaussian.split(tuple(mean), packed(cov), list(cov @ direction), float(direction @ cov @ direction), (1, 3))
    for _, part_mean, part in parts:
        assert np.array(part_mean)[[1, 3]] == pytest.approx(mean[[1, 3]])
        numbers = whole(part, 4)
        assert numbers[np.ix_([1, 3], [1, 3])] == pytest.approx(cov[np.ix_([1, 3], [1, 3])])
        assert np.linalg.eigvalsh(numbers).min() > 0.0 and numbers[0, 0] < cov[0, 0]


def test_half_a_year_leaves_a_covariance_a_covariance_and_what_comes_back_within_its_doubt() -> None:
    """Long runs once cut the variance of the diffusion time short and left what it shared with others as it was: in the end
    a variance was negative, and the daemon's step failed."""
    r = Random(11)
    mean, numbers = prior.vehicle_part(LITHIUM.house, LITHIUM.current_sensor, families.KINDS[0])
    c = Component(0.0, 0, *prior.place_at(mean, numbers, 0.9, 0.01))
    for k in range(4 * 182):
        into = r.uniform(0.0, 30.0) if k % 4 == 2 else 0.0
        c = predict.predict(c, predict.Passed(6.0, into, r.uniform(0.0, 6.0), 0.01, 0.006, 1.0))
        # what the rise to full tells of charge, diffusion and zero, always a little to the same side
        slopes = {CHARGE: 1.0, DIFFUSION: -0.02, KINETIC: 0.01}
        cross = gaussian.times(c.covariance, slopes, SIZE)
        c = Component(0.0, 0, *gaussian.update(c.mean, c.covariance, cross, 0.01, gaussian.along(cross, slopes) + 0.004**2, (CAPACITY,)))
        c = c.rounded()
    spread = whole(c.covariance, SIZE)
    scale = np.sqrt(np.diag(spread))
    assert (np.diag(spread) > 0.0).all() and np.linalg.eigvalsh(spread / np.outer(scale, scale)).min() > -1e-5
    usual = {DIFFUSION: (0.0, 0.45), LOSS: (charge_loss.FRAC["lfp"], charge_loss.SIGMA_FRAC["lfp"])}
    for index, (value, sigma) in usual.items():
        assert abs(c.mean[index] - value) < 3.0 * sigma and scale[index] < 1.01 * sigma


def test_time_that_passes_is_the_linear_step_of_a_kalman_filter() -> None:
    mean, cov = random_gaussian(SIZE)
    mean[CAPACITY], mean[LOSS], mean[OFFSET], mean[CHARGE] = log(90.0), 0.01, 0.05, 0.6
    step = predict.Passed(0.5, 3.0, 1.0, 0.2, 0.006, 1.0)
    after = predict.predict(Component(0.0, 0, tuple(mean), packed(cov)), step)

    def charge(x: np.ndarray) -> float:
        lost = predict.SELF_DISCHARGE * 90.0 * 0.5   # of a given capacity: its slope is nothing
        return float(x[CHARGE] - (1.0 - (1.0 - x[LOSS]) * 3.0 + x[OFFSET] * 0.5 + lost) / np.exp(x[CAPACITY]))

    gradient = np.array([(charge(mean + 1e-6 * e) - charge(mean - 1e-6 * e)) / 2e-6 for e in np.eye(SIZE)])
    assert after.mean[CHARGE] == pytest.approx(charge(mean))
    others = [CAPACITY, OFFSET, LOSS]
    kept = np.array([1.0, 1.0, exp(-0.5 / predict.LOSS_FORGET_H)])   # the loss comes back to what is usual
    assert np.array([after.variance(CHARGE, i) for i in others]) == pytest.approx(kept * (cov @ gradient)[others], rel=1e-4)
    noise = (0.2 + (0.4 * predict.SELF_DISCHARGE * 45.0) ** 2 + (0.002 * 4.0) ** 2) / 90.0**2
    assert after.variance(CHARGE) == pytest.approx(gradient @ cov @ gradient + noise, rel=1e-4)


def test_quantiles_of_a_mixture_are_scipy_s() -> None:
    parts = [(0.3, 0.2, 0.05), (0.5, 0.6, 0.02), (0.2, 0.9, 0.1)]
    wanted = [scipy.optimize.brentq(lambda x, p=p: sum(w * scipy.stats.norm.cdf(x, m, s) for w, m, s in parts) - p, -1, 2)
              for p in (0.025, 0.5, 0.975)]
    assert quantiles(parts) == pytest.approx(wanted, abs=2e-4)


def test_draws_have_the_posterior_s_moments() -> None:
    believed = Posterior(((0.4, 0.3, log(80.0), 0.02**2, 0.08**2, 0.0008), (0.6, 0.6, log(100.0), 0.05**2, 0.05**2, -0.001)))
    drawn = np.array(believed.draw(20000, Random(3)))
    drawn[:, 1] = np.log(drawn[:, 1])
    var_z, var_q, cross = believed.covariance()
    assert drawn.mean(axis=0) == pytest.approx(believed.mean(), abs=0.004)
    assert np.cov(drawn.T) == pytest.approx(np.array([[var_z, cross], [cross, var_q]]), rel=0.06, abs=2e-4)
    low, _, high = believed.charge()
    assert np.mean((drawn[:, 0] > low) & (drawn[:, 0] < high)) == pytest.approx(0.95, abs=0.01)


def test_a_component_rounded_is_saved_exactly() -> None:
    mean, cov = random_gaussian(SIZE)
    one = Component(-1.5, 2, tuple(mean.tolist()), packed(cov)).rounded()
    assert Component.from_plain(one.to_plain()) == one
    assert whole(one.covariance, SIZE) == pytest.approx(cov, rel=1e-6)
    assert np.linalg.eigvalsh(whole(one.covariance, SIZE)).min() > 0


@pytest.mark.parametrize("family", [rest_curves.pool_makes(), rest_curves.published_curves(), rest_curves.halfway()], ids=lambda f: f.name)
def test_a_curve_rises_and_can_be_turned_round(family: rest_curves.Family) -> None:
    values = family.whole.values
    assert all(a < b for a, b in zip(values, values[1:], strict=False))
    for charge_frac in (0.02, 0.3, 0.72, 0.985):
        assert family.whole.inverse(family.whole.at(charge_frac)) == pytest.approx(charge_frac, abs=0.004)


@pytest.mark.parametrize("name", [n for n in rest_curves.makes() if n != rest_curves.PUBLISHED])
def test_the_curve_of_the_other_makes_fits_each_within_what_is_declared(name: str) -> None:
    """Height within three sigmas of level_v, and what is left once that is taken off within four of shape_v."""
    others, own = rest_curves.pool_makes((name,)), rest_curves.single(name)
    apart = [own.graphite.at(z) - others.graphite.at(z) for z in (0.2, 0.3, 0.4, 0.5, 0.55, 0.85)]
    level = sum(apart) / len(apart)
    assert abs(level) < 3 * 0.035
    assert max(abs(a - level) for a in apart) < 4 * 0.022


def test_what_readings_say_between_kinds_is_worth_no_more_than_some_days_of_them() -> None:
    """A likelihood that says a tenth an hour for one kind, for a year: it is believed for as much as ten days of it."""
    mean, numbers = prior.vehicle_part(LITHIUM.house, LITHIUM.current_sensor, families.KINDS[0])
    mixture = (Component(log(0.5), 0, mean, numbers), Component(log(0.5), 1, mean, numbers))
    said = (0.0,) * len(families.KINDS)
    for _ in range(24 * 365):
        mixture, said = update.fade(mixture, said, 1.0)
        mixture = (mixture[0], Component(mixture[1].log_weight - 0.1, 1, mean, numbers))
        said = (said[0], said[1] - 0.1, *said[2:])
    assert mixture[1].log_weight - mixture[0].log_weight == pytest.approx(-0.1 * update.KINDS_H, rel=0.01)
    assert said[1] == pytest.approx(-0.1 * update.KINDS_H, rel=0.01)


def test_the_surface_runs_ahead_by_no_more_than_twenty_times_what_is_usual() -> None:
    """However slow a component believes its battery: e to the third, 20.09; a straight line through more would be worth nothing."""
    mean, numbers = prior.vehicle_part(LITHIUM.house, LITHIUM.current_sensor, families.KINDS[0])
    now = surroundings.look(13.2, -10.0, -0.1, 25.0)
    for believed, times in ((-9.0, 1.0 / 20.0855), (9.0, 20.0855)):
        slow = Component(0.0, 0, tuple([believed if i == DIFFUSION else m for i, m in enumerate(mean)]), numbers)
        assert reading.place(slow, now).shift_frac == pytest.approx(times * now.shift_frac, rel=1e-4)


def test_the_slope_near_full_fades_over_half_a_hundredth_at_least_however_sure_the_charge() -> None:
    """A quarter of a hundredth below full it is 0.75 of the whole slope for one as sure as a thousandth, 0.625 of it at a hundredth."""
    slopes = []
    for sigma_frac in (0.001, 0.01):
        belief = charge_filter.begin(AGM.house, AGM.current_sensor)
        capacity = exp(belief.mean[charge_filter.CAPACITY])
        belief = kalman.reset(belief, charge_filter.DEPTH, 0.0025 * capacity, sigma_frac * capacity)
        slopes.append(charge_filter.expect_rest(belief, AGM.house)[1][charge_filter.DEPTH])
    assert slopes[0] / slopes[1] == pytest.approx(0.75 / 0.625)
