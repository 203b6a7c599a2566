"""The forecast on camps of a plant of its own: the lowest charge before the sun carries again, and hours until the reserve.

Both are shown as 10 to 90 %: they are to hold the truth in eight cases of ten, not in all. Too wide shows in the width.
"""
from tests.intervals import nights
from tests.intervals.bounds import Bounds

#: fractions of charge, and hours
LOWEST = Bounds(150, 0.78, (0.122, 0.190))
RESERVE_H = Bounds(35, 0.60, (7.0, 11.2))


def test_lowest_charge_of_the_night() -> None:
    LOWEST.check(nights.forecasts()[0])


def test_hours_to_the_reserve() -> None:
    RESERVE_H.check(nights.forecasts()[1])
