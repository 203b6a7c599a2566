"""The starter's figures and the join's: a drain once found, what usually leaves the battery, its charge, the path's resistance.

Widths: drain in shares of all that leaves the battery; without a drain in amperes; the path in shares of its resistance.
"""
from tests.intervals import journeys, parked
from tests.intervals.bounds import Bounds

DRAIN = Bounds(45, 0.93, (0.93, 1.25))
USUAL = Bounds(55, 0.93, (0.030, 0.041))
PATH = Bounds(12, 0.93, (0.265, 0.360))
CHARGE = Bounds(250, 0.88, (0.20, 0.33))


def test_a_drain_that_was_found() -> None:
    DRAIN.check(parked.drains()[0])


def test_what_leaves_a_sound_battery() -> None:
    USUAL.check(parked.drains()[1])


def test_path_resistance() -> None:
    PATH.check(parked.paths())


def test_charge_at_rest() -> None:
    CHARGE.check(journeys.lead()["starter charge"])
