"""The estimator's algebra against numpy and scipy, and its tables against what they are made of."""
from math import exp, log
from random import Random

import numpy as np
import pytest
import scipy

from monitor.battery import rest_curves
from monitor.estimation import gaussian, predict, triangle
from monitor.estimation.state import CAPACITY, CHARGE, LOSS, OFFSET, SIZE, Component
from monitor.posterior import Posterior, quantiles

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
    weight, mean, cov = gaussian.merged([(w, tuple(m), packed(c)) for w, m, c in parts])
    want = sum(exp(w) * m for w, m, _ in parts)
    spread = sum(exp(w) * (c + np.outer(m - want, m - want)) for w, m, c in parts)
    assert weight == pytest.approx(0.0, abs=1e-9) and np.array(mean) == pytest.approx(want) and whole(cov, 3) == pytest.approx(spread)
    whole_mean, wide = random_gaussian(3)
    direction = np.array([1.0, 0.5, 0.0])
    three = gaussian.split(tuple(whole_mean), packed(wide), list(wide @ direction), float(direction @ wide @ direction))
    again = gaussian.merged(three)
    assert np.array(again[1]) == pytest.approx(whole_mean)
    assert whole(again[2], 3) == pytest.approx(wide, rel=0.05, abs=0.05 * float(np.abs(wide).max()))


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
    assert np.array([after.variance(CHARGE, i) for i in others]) == pytest.approx((cov @ gradient)[others], rel=1e-4)
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


@pytest.mark.parametrize("family", [rest_curves.pooled(), rest_curves.published(), rest_curves.halfway()], ids=lambda f: f.name)
def test_a_curve_rises_and_can_be_turned_round(family: rest_curves.Family) -> None:
    values = family.whole.values
    assert all(a < b for a, b in zip(values, values[1:], strict=False))
    for charge_frac in (0.02, 0.3, 0.72, 0.985):
        assert family.whole.inverse(family.whole.at(charge_frac)) == pytest.approx(charge_frac, abs=0.004)


@pytest.mark.parametrize("name", [n for n in rest_curves.makes() if n != rest_curves.PUBLISHED])
def test_the_curve_of_the_other_makes_fits_each_within_what_is_declared(name: str) -> None:
    """Height within three sigmas of level_v, and what is left once that is taken off within four of shape_v."""
    others, own = rest_curves.pooled((name,)), rest_curves.single(name)
    apart = [own.graphite.at(z) - others.graphite.at(z) for z in (0.2, 0.3, 0.4, 0.5, 0.55, 0.85)]
    level = sum(apart) / len(apart)
    assert abs(level) < 3 * 0.035
    assert max(abs(a - level) for a in apart) < 4 * 0.022
