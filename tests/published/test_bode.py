"""The bend of the rest voltage against Bode's polynomials for acid (Bode 1977, as quoted by Sulzer et al. 2019)."""
from math import log10

import pytest

from monitor.battery import lead_acid

#: molality [mol/kg], one cell [V]: computed from the polynomial with PyBaMM 26.10.1.1, set Sulzer2019.
VALUES = ((1, 1.9220), (2, 1.9746), (3, 2.0168), (4, 2.0546), (5, 2.0896), (6, 2.1226), (7, 2.1541))
#: concentration [mol/m3] -> molality, six cells [V]: same set.
CONCENTRATIONS = ((1000, 1.0175, 11.539), (3000, 3.370, 12.187), (5000, 6.269, 12.787), (5650, 7.362, 12.991))


def bode_v(molality: float) -> float:
    """One cell [V]: the difference of the two electrode polynomials, as printed. The product does not know them."""
    x = log10(molality)
    negative = -0.294 + x * (-0.074 + x * (-0.030 + x * (-0.031 - 0.012 * x)))
    positive = 1.628 + x * (0.074 + x * (0.033 + x * (0.043 + 0.022 * x)))
    return positive - negative


def molality_of(concentration: float) -> float:
    """mol per kg of water from mol per cubic metre of solution (partial volumes as in Sulzer 2019)."""
    return concentration * 1.75e-5 / ((1.0 - concentration * 4.5e-5) * 0.01801)


def test_the_truth_is_typed_right() -> None:
    assert [bode_v(m) for m, _ in VALUES] == pytest.approx([volts for _, volts in VALUES], abs=1e-4)
    assert [molality_of(c) for c, _, _ in CONCENTRATIONS] == pytest.approx([m for _, m, _ in CONCENTRATIONS], rel=5e-4)
    assert [6 * bode_v(molality_of(c)) for c, _, _ in CONCENTRATIONS] == pytest.approx([v for _, _, v in CONCENTRATIONS], abs=1.5e-3)


@pytest.mark.parametrize("depth", [0.1, 0.25, 0.5, 0.75, 0.9])
def test_the_rest_curve_bends_as_the_polynomials_do(depth: float) -> None:
    """Between full (5650 mol/m3) and a fifth of it, within 3.5 % of the span."""
    full, empty = 5650.0, 1130.0

    def volts(at: float) -> float:
        return bode_v(molality_of(full + (empty - full) * at))

    assert (volts(0.0) - volts(depth)) / (volts(0.0) - volts(1.0)) == pytest.approx(lead_acid.fall_frac(depth), abs=0.035)


def test_the_slope_is_that_of_the_fall() -> None:
    for depth in (0.0, 0.3, 0.7, 1.0):
        step = 1e-6
        by_difference = (lead_acid.fall_frac(depth + step) - lead_acid.fall_frac(depth - step)) / (2 * step)
        assert lead_acid.fall_slope(depth) == pytest.approx(by_difference, rel=1e-6)
