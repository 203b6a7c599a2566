"""Brier score and its parts, against a worked example done by hand on the published definitions.

Sources
-------
Brier, Verification of forecasts expressed in terms of probability, Monthly Weather Review 78 (1950) 1.
Murphy, A new vector partition of the probability score, J. Applied Meteorology 12 (1973) 595:
score = reliability - resolution + uncertainty.
"""
import pytest

from monitor.forecast.outcomes import brier, brier_parts

#: Ten nights: said 0.2 five times (one came), said 0.8 five times (three came).
NIGHTS = [(0.2, True)] + [(0.2, False)] * 4 + [(0.8, True)] * 3 + [(0.8, False)] * 2


def test_score_of_ten_nights_is_the_mean_squared_miss() -> None:
    # 0.64 + 4 x 0.04 + 3 x 0.04 + 2 x 0.64 = 2.20 over ten
    assert brier(NIGHTS) == pytest.approx(0.220)


def test_parts_are_those_of_murphy() -> None:
    reliability, resolution, uncertainty = brier_parts(NIGHTS)
    # groups: said 0.2 seen 0.2, said 0.8 seen 0.6; base rate 0.4
    assert reliability == pytest.approx(0.5 * 0.0 + 0.5 * 0.04)
    assert resolution == pytest.approx(0.5 * 0.04 + 0.5 * 0.04)
    assert uncertainty == pytest.approx(0.24)
    assert reliability - resolution + uncertainty == pytest.approx(brier(NIGHTS))


def test_saying_the_base_rate_has_no_resolution_and_no_fault() -> None:
    rows = [(0.3, True)] * 3 + [(0.3, False)] * 7
    assert brier_parts(rows) == pytest.approx((0.0, 0.0, 0.21))


def test_a_perfect_forecast_scores_nothing() -> None:
    assert brier([(1.0, True), (0.0, False)]) == 0.0
