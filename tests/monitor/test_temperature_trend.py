"""What the coming night is expected to be like after a front that the simulated journeys do not have."""
import pytest

from monitor.detection import temperature_trend
from monitor.detection.temperature_trend import TemperatureTrend

HOUR_S = 3600.0


def after_a_front(colder_k: float, for_h: float) -> TemperatureTrend:
    """Two days at ten degrees, and for some hours so much colder."""
    trend = TemperatureTrend()
    for k in range(48 * 6):
        at_h = k / 6
        trend = temperature_trend.update(trend, at_h * HOUR_S, 10.0 - (colder_k if at_h >= 48.0 - for_h else 0.0))
    return temperature_trend.update(trend, 48.0 * HOUR_S, 10.0 - colder_k)


def test_no_night_is_believed_to_fall_by_twenty_kelvin() -> None:
    trend = after_a_front(20.0, 6.0)
    assert temperature_trend.change_k(trend) == pytest.approx(-12.0, abs=0.1)
    assert temperature_trend.coming_low_c(trend) == pytest.approx(4.0, abs=0.1)
    assert temperature_trend.change_k(after_a_front(11.0, 6.0)) == pytest.approx(-11.0, abs=0.1)


def test_a_front_counts_by_how_much_of_the_last_three_hours_it_has_been_there() -> None:
    assert temperature_trend.change_k(after_a_front(6.0, 2.0)) == pytest.approx(-4.0, abs=0.1)
    assert temperature_trend.change_k(after_a_front(6.0, 3.0)) == pytest.approx(-6.0, abs=0.1)
