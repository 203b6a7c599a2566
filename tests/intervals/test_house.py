"""The house battery's figures on simulated vehicles: charge, capacity, ampere-hours left, the shunt's offset, resistance.

Widths: charge a fraction, capacity and ampere-hours in shares of the label, offset in amperes, resistance in shares of it.
Most bounds are 15 % either way: part of the width is capacity that may be missing unseen, which no number of sigma changes.
"""
import pytest

from tests.intervals import journeys, steps_of_load
from tests.intervals.bounds import Bounds

LEAD = {
    "charge": Bounds(400, 0.93, (0.089, 0.119)),
    "capacity": Bounds(400, 0.93, (0.445, 0.593)),
    "left": Bounds(400, 0.93, (0.475, 0.612)),
    "usable": Bounds(400, 0.93, (0.380, 0.491)),
    "offset": Bounds(250, 0.93, (0.150, 0.233)),
}
LITHIUM = {
    "charge": Bounds(300, 0.93, (0.102, 0.139)),
    "capacity": Bounds(300, 0.93, (0.389, 0.527)),
    "left": Bounds(300, 0.93, (0.346, 0.468)),
    "usable": Bounds(300, 0.93, (0.272, 0.368)),
    "offset": Bounds(150, 0.93, (0.082, 0.137)),
}
RESISTANCE = Bounds(35, 0.93, (0.250, 0.415))


@pytest.mark.parametrize("figure", LEAD)
def test_lead_acid(figure: str) -> None:
    LEAD[figure].check(journeys.lead()[figure])


@pytest.mark.parametrize("figure", LITHIUM)
def test_lithium(figure: str) -> None:
    LITHIUM[figure].check(journeys.lithium()[figure])


def test_resistance() -> None:
    RESISTANCE.check(steps_of_load.resistances())
