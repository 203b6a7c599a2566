"""Capacity by total least squares, against scipy and the teaching cases of the method's author.

G. L. Plett, "Recursive approximate weighted total least squares estimation of battery cell total capacity",
J. Power Sources 196 (2011) 2319; the two scenarios are those of the scripts of his published course.
"""
from random import Random

import numpy
import pytest
import scipy

from monitor.wear.total_least_squares import Swing, capacity

DEPTHS, CHARGES = (0.50, -0.40, 0.30, -0.60, 0.20), (49.0, -41.5, 28.8, -61.0, 21.2)
#: capacity [Ah], largest swing, sigma of a swing's depth, sigma of its charge [Ah], swings
HYBRID = (10.0, 0.2, 2**0.5 * 0.01, 0.000814, 1000)
ELECTRIC = (100.0, 0.4, 2**0.5 * 0.01, 0.00664, 1000)


def _orthogonal_distances(sigma_x: float, sigma_y: float) -> tuple[float, float]:
    """The slope and its sigma when the true depths are sought along with it: the definition of the method, by scipy."""
    x, y = numpy.array(DEPTHS), numpy.array(CHARGES)

    def distances(unknown: numpy.ndarray) -> numpy.ndarray:
        return numpy.concatenate([(x - unknown[1:]) / sigma_x, (y - unknown[0] * unknown[1:]) / sigma_y])

    found = scipy.optimize.least_squares(distances, numpy.array([90.0, *DEPTHS]), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    return found.x[0], numpy.linalg.inv(found.jac.T @ found.jac)[0, 0] ** 0.5


def test_five_swings_come_out_as_with_the_reference_library() -> None:
    """Worked case: 100.7168 Ah, sigma 3.050 Ah; ordinary least squares would claim 0.527."""
    sigma_x, sigma_y = 0.02 * 2**0.5, 0.5
    found, sigma = capacity(Swing(0.0, x, sigma_x, y, sigma_y) for x, y in zip(DEPTHS, CHARGES))
    referee, its_sigma = _orthogonal_distances(sigma_x, sigma_y)
    assert found == pytest.approx(referee, abs=1e-4)
    assert found == pytest.approx(100.7168, abs=1e-4)
    assert sigma == pytest.approx(its_sigma, rel=0.01)
    assert sigma == pytest.approx(3.050, abs=0.005)


@pytest.mark.parametrize("scenario", [HYBRID, ELECTRIC], ids=["hybrid", "electric"])
def test_it_is_unbiased_where_ordinary_least_squares_reads_low(scenario: tuple) -> None:
    """Bias of ordinary least squares: Q s^2 / (s^2 + sigma^2), s^2 = largest^2 / 3: -1.48 % and -0.37 %."""
    true_ah, largest, sigma_x, sigma_y, count = scenario
    r, runs = Random(5), 40
    total, ordinary, inside = 0.0, 0.0, 0
    for _ in range(runs):
        true = [r.uniform(-largest, largest) for _ in range(count)]
        pairs = [(x + r.gauss(0.0, sigma_x), true_ah * x + r.gauss(0.0, sigma_y)) for x in true]
        found, sigma = capacity(Swing(0.0, x, sigma_x, y, sigma_y) for x, y in pairs)
        total += found / runs
        inside += abs(found - true_ah) < 3 * sigma
        ordinary += sum(x * y for x, y in pairs) / sum(x * x for x, _ in pairs) / runs
    low = largest**2 / 3 / (largest**2 / 3 + sigma_x**2)
    assert total == pytest.approx(true_ah, rel=0.002)
    assert ordinary == pytest.approx(true_ah * low, rel=0.002)
    assert inside >= 0.97 * runs


def test_one_small_swing_is_worth_little() -> None:
    """Propagation of error: one 30 % swing with 3 % on either end leaves 14 % of the capacity in doubt."""
    found, sigma = capacity([Swing(0.0, 0.3, 0.03 * 2**0.5, 30.0, 0.01)])
    assert found == pytest.approx(100.0, rel=1e-6)
    assert sigma / found == pytest.approx(0.14, abs=0.003)


@pytest.mark.parametrize("swings", [[], [Swing(0.0, 0.0, 0.02, 1.0, 0.5)], [Swing(0.0, 0.3, 0.0, 30.0, 0.0)]])
def test_what_cannot_be_fitted_is_refused(swings: list) -> None:
    with pytest.raises(ValueError, match="each with a depth and a doubt"):
        capacity(swings)
