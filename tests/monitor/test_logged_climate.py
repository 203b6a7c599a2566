"""What a log says of a place's sun and air: how clear its months were, and where that counts."""
from dataclasses import replace
from datetime import UTC, datetime
from math import cos, exp, pi, radians, sin
from random import Random

import pytest

from monitor.planning import plan
from monitor.planning.climate import between, sky
from monitor.planning.load_catalogue import parse_load
from monitor.planning.load_profile import LoggedSlot
from monitor.planning.logged_climate import LoggedClimate, LoggedMonth, clearness_of, read_climate, with_log
from monitor.planning.trip import Stop, Trip
from monitor.reporting import plan_words

LISBON = between.climate_at(38.7, -9.1)
ENDS = datetime(2026, 7, 1, tzinfo=UTC).timestamp()


def _days(count: int, cloudy: float, latitude: float = 38.7, day: int = 152, seed: int = 1) -> tuple[list[LoggedSlot], float]:
    """June days of a flat panel, and their clearness: a clear sky after Haurwitz (J. Meteorology 2 (1945) 154), and a share of days with a
    quarter of it."""
    chance, rows, light, outside = Random(seed), [], 0.0, 0.0
    for number in range(count):
        tilt, place = radians(23.45 * sin(2 * pi * (284 + day + number) / 365)), radians(latitude)
        share = 0.25 if chance.random() < cloudy else 1.0
        for k in range(96):
            hour = k / 4 + 0.125
            high = sin(place) * sin(tilt) + cos(place) * cos(tilt) * cos(pi * (hour - 12) / 12)
            clear = 1098 * high * exp(-0.057 / high) if high > 0.01 else 0.0
            light += share * clear / 4000
            outside += 1361 * (1 + 0.033 * cos(2 * pi * (day + number) / 365)) * max(high, 0) / 4000
            rows.append(LoggedSlot(hour, 1.5, 7.0 * share * clear / 1000, temperature_c=24.0 + 6 * sin(pi * (hour - 9) / 12)))
    return rows, light / outside


@pytest.mark.parametrize("cloudy", [0.2, 0.4, 0.6])
def test_how_clear_a_month_was_is_told_without_knowing_the_panel(cloudy: float) -> None:
    rows, truth = _days(30, cloudy)
    assert clearness_of(rows, metered=True) == pytest.approx(truth, rel=0.12)
    assert clearness_of([replace(row, harvest_a=5 * row.harvest_a) for row in rows], True) == pytest.approx(clearness_of(rows, True))
    assert clearness_of([replace(row, harvest_a=0.0) for row in rows]) is None


def test_a_month_needs_days_and_a_thermometer_says_what_it_can() -> None:
    rows, _ = _days(30, 0.4)
    found = read_climate(rows, ENDS, (38.7, -9.1), metered=True)
    (june,) = found.months
    assert (june.month, june.days) == (5, 30) and june.air_c == pytest.approx(22.0, abs=0.1)     # 2 K cooler than by the battery
    assert 2.0 < june.air_sigma_c < 3.0 and 0.05 < june.clearness_sigma / june.clearness < 0.25
    outside = read_climate(rows, ENDS, (38.7, -9.1), ambient=[(ENDS - 3600 * k, 19.0) for k in range(1, 700)]).months[0]
    assert outside.air_c == pytest.approx(19.0) and outside.air_sigma_c < june.air_sigma_c
    assert read_climate(rows[:9 * 96], ENDS, (38.7, -9.1)).months == ()
    blind = [replace(row, temperature_c=None) for row in rows]
    assert read_climate(blind, ENDS, (38.7, -9.1)).months[0].air_c is None


def test_a_log_moves_the_climate_by_its_doubt_near_its_place_only() -> None:
    log = LoggedClimate(38.9, -9.0, (LoggedMonth(5, 30, LISBON.clearness[5] - 0.2, 0.06, LISBON.air_c[5] + 6.0, 2.0),))
    moved = with_log(LISBON, log)
    assert LISBON.clearness[5] - 0.2 < moved.clearness[5] < LISBON.clearness[5]
    assert moved.clearness_sigma[5] < min(LISBON.clearness_sigma[5], 0.06) and moved.clearness[4] == LISBON.clearness[4]
    assert LISBON.air_c[5] < moved.air_c[5] < LISBON.air_c[5] + 6.0
    sure = with_log(LISBON, replace(log, months=(replace(log.months[0], clearness_sigma=1e-4),)))
    assert sure.clearness[5] == pytest.approx(LISBON.clearness[5] - 0.2, abs=0.001)
    assert with_log(LISBON, replace(log, latitude_deg=44.0)) == LISBON
    assert with_log(LISBON, replace(log, latitude_deg=None)) == LISBON


def test_the_owners_own_figures_count_before_the_log() -> None:
    suns = sky.monthly_extraterrestrial_kwh_m2(38.7)
    own = between.with_own_figures(LISBON, tuple(0.5 * s for s in suns), (20.0,) * 12)
    log = LoggedClimate(38.7, -9.1, (LoggedMonth(5, 30, 0.3, 0.01, 35.0, 0.5),))
    assert with_log(own, log) == own


def test_the_plan_says_what_comes_from_the_log() -> None:
    log = LoggedClimate(38.7, -9.1, (LoggedMonth(5, 28, 0.55, 0.05, 21.0, 2.0),))
    trip = Trip((Stop(with_log(LISBON, log), 5, 30), Stop(with_log(LISBON, log), 6, 31)))
    june, july = plan_words.climate_lines(plan.prepare(trip, [parse_load("fridge")]))
    assert "28 days of your log in June say sun (harvest against its clear days: clearness 0.55) and air (by the battery: 21 °C)" in june
    assert "your log" not in july and LISBON.basis in june
