"""Who takes the charge, on camps without a solar current: what loads, sun and fridge are said to be in a day, in shares of the truth.

Loads by day cannot be told from less sun there, so their intervals are wide. A camp whose battery is full by ten shows half of its sun:
that one is missed, and no width short of saying nothing would hold it.
"""
import pytest

from tests.intervals import nights
from tests.intervals.bounds import Bounds

KNOWN = {
    "load a day": Bounds(60, 0.93, (0.64, 0.87)),
    "sun a day": Bounds(60, 0.88, (0.60, 0.82)),
    "fridge current": Bounds(50, 0.88, (0.16, 0.22)),
    "fridge a day": Bounds(50, 0.93, (0.41, 0.58)),
    "fridge duty": Bounds(50, 0.91, (0.40, 0.57)),
    "always on": Bounds(60, 0.93, (1.05, 1.5)),
    "evening": Bounds(60, 0.93, (2.7, 3.9)),
}


@pytest.mark.parametrize("figure", KNOWN)
def test_what_is_said_of_loads(figure: str) -> None:
    KNOWN[figure].check(nights.loads()[figure])


def test_a_fridge_whose_runs_are_shorter_than_three_readings_is_not_shown() -> None:
    """Read every five minutes, the fridges of three of six camps start and stop within two readings; the others are shown, and hold."""
    shown = nights.loads(span=5)["fridge a day"]
    assert shown.count < nights.loads()["fridge a day"].count / 2
    Bounds(20, 0.93, (0.40, 0.57)).check(shown)
