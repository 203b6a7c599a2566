"""The starter's figures and the join's: a drain once found, what usually leaves the battery, its charge, the path's resistance.

Widths: drain in shares of all that leaves the battery; without a drain in amperes; the path in shares of its resistance.
"""
from tests.intervals import journeys, parked
from tests.intervals.bounds import Bounds

#: Most of this width is what a label and a table are worth, so what the voltage adds to it shows in little: 1.96 sigma
#: give 2.13, 1.2 give 1.95, 3.5 give 2.51.
DRAIN = Bounds(45, 0.92, (2.00, 2.27))
USUAL = Bounds(55, 0.93, (0.036, 0.060))
PATH = Bounds(12, 0.93, (0.31, 0.52))
CHARGE = Bounds(250, 0.88, (0.20, 0.33))


def test_a_drain_that_was_found() -> None:
    DRAIN.check(parked.drains()[0])


def test_what_leaves_a_sound_battery() -> None:
    USUAL.check(parked.drains()[1])


def test_path_resistance() -> None:
    PATH.check(parked.paths())


def test_charge_at_rest() -> None:
    CHARGE.check(journeys.lead()["starter charge"])
