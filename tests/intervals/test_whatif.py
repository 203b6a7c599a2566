"""Nights below the reserve in 30, as *What if* answers from three weeks, beside the same weeks lived with the other set-up.

One night of three weeks is 1.4 in 30, so an answer one night off without a range counts as missed.
"""
from tests.intervals import weeks
from tests.intervals.bounds import Bounds

NIGHTS = Bounds(32, 0.93, (2.3, 3.4))


def test_nights_below_the_reserve() -> None:
    seen, explained = weeks.nights()
    NIGHTS.check(seen)
    assert explained >= weeks.CAMPS - 1, "a log that explains itself is answered"
