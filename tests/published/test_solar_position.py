"""Sunrise, sunset and day length against the worked example of the US National Renewable Energy Laboratory.

Source
------
Reda and Andreas, Solar Position Algorithm for Solar Radiation Applications, NREL/TP-560-34302 (2003, revised
2008), table A5.1: 17 October 2003, 12:30:30 at UTC-7, 39.742476 N, 105.1786 W: zenith 50.111622°, azimuth
194.340241°, sunrise 06:12:43, transit 11:46:05, sunset 17:20:19.
"""
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from astral import Observer
from astral.sun import azimuth, sun, zenith

from monitor.usage.daylight import half_day_h

PLACE = Observer(39.742476, -105.1786)
MOUNTAIN = timezone(timedelta(hours=-7))


def _clock_s(hour: int, minute: int, second: int) -> int:
    return (hour * 60 + minute) * 60 + second


def test_sun_of_the_library_stands_where_the_published_example_has_it() -> None:
    moment = datetime(2003, 10, 17, 12, 30, 30, tzinfo=MOUNTAIN).astimezone(UTC)
    assert zenith(PLACE, moment) == pytest.approx(50.111622, abs=0.5)
    assert azimuth(PLACE, moment) == pytest.approx(194.340241, abs=0.5)


@pytest.mark.parametrize(("event", "published"), [
    ("sunrise", _clock_s(6, 12, 43)), ("noon", _clock_s(11, 46, 5)), ("sunset", _clock_s(17, 20, 19)),
])
def test_sun_of_the_library_rises_and_sets_within_three_minutes(event: str, published: int) -> None:
    # Asked in local time: in UTC a sunset after midnight would belong to another date.
    found = sun(PLACE, date(2003, 10, 17), tzinfo=MOUNTAIN)[event]
    assert _clock_s(found.hour, found.minute, found.second) == pytest.approx(published, abs=180)


def test_half_a_day_is_half_of_what_the_published_example_has() -> None:
    published_h = (_clock_s(17, 20, 19) - _clock_s(6, 12, 43)) / 3600 / 2
    assert half_day_h(39.742476, 290) == pytest.approx(published_h, abs=0.05)


@pytest.mark.parametrize("day", [80, 266])
def test_days_at_the_equinox_are_twelve_hours_and_a_little_everywhere(day: int) -> None:
    # Refraction and the sun's radius add some minutes, more where it rises at a slant.
    for latitude_deg in (0.0, 30.0, 50.0, -40.0):
        assert half_day_h(latitude_deg, day) == pytest.approx(6.08, abs=0.12)


def test_where_the_sun_does_not_set_or_rise_there_is_an_answer() -> None:
    assert half_day_h(70.0, 172) == 12.0
    assert half_day_h(70.0, 355) == 0.0
    assert half_day_h(-75.0, 355) == 12.0
