"""Loads as a log shows them: hours of the day kept, the rise with warmth found, drawn to the published one where the log is silent."""
from math import cos, pi
from random import Random

import pytest

from monitor.planning.load_catalogue import LOAD_V, fridge_power_w, steady_power_w
from monitor.planning.load_profile import LoggedSlot
from monitor.planning.logged_loads import read_loads

DARK = [False] * 24


def _log(days: int, per_k_wh: float, swing_k: float, seed: int = 1) -> list[LoggedSlot]:
    """A fridge of 30 W at 20 °C that rises by so much a kelvin and day, 40 W in the evening, 5 W always; days of different warmth."""
    chance, rows = Random(seed), []
    for day in range(days):
        warm = 20 + swing_k * cos(2 * pi * day / 9)
        for k in range(96):
            hour = k / 4 + 0.125
            watts = 35 + per_k_wh / 24 * (warm - 20) + (40 if 19 <= hour < 22 else 0) + chance.gauss(0, 1)
            rows.append(LoggedSlot(hour, watts / LOAD_V, 0.0, temperature_c=warm))
    return rows


def test_the_rise_with_warmth_is_the_log_s_where_it_shows_it() -> None:
    cold, rest = read_loads(_log(40, 45.0, 6.0))
    assert cold.slope_wh_per_k == pytest.approx(45, rel=0.05)
    day = sum(steady_power_w(rest, DARK)) + 24 * fridge_power_w(cold, 20.0)
    assert day == pytest.approx(35 * 24 + 120, rel=0.02)
    evening = steady_power_w(rest, DARK)
    assert evening[20] - evening[10] == pytest.approx(40, abs=2) and min(evening) >= 0


def test_a_silent_log_gets_the_published_rise() -> None:
    cold, _ = read_loads(_log(10, 45.0, 0.0))
    assert cold.slope_wh_per_k == pytest.approx(0.055 * 0.5 * 960, rel=0.05)


def test_days_of_which_little_is_known_do_not_count() -> None:
    rows = _log(6, 20.0, 3.0)
    with pytest.raises(ValueError, match="6 days whose use is known"):
        read_loads(rows)
    with pytest.raises(ValueError, match="0 days"):
        read_loads([])
