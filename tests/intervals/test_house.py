"""The house battery's figures on simulated vehicles: charge, capacity, ampere-hours left, the shunt's offset, resistance.

Widths: charge a fraction, capacity and ampere-hours in shares of the label, offset in amperes, resistance in shares of it.
"""
import pytest

from tests.intervals import journeys, steps_of_load
from tests.intervals.bounds import Bounds

LEAD = {
    "charge": Bounds(400, 0.93, (0.078, 0.130)),
    "capacity": Bounds(400, 0.93, (0.386, 0.645)),
    "left": Bounds(400, 0.93, (0.400, 0.666)),
    "usable": Bounds(400, 0.93, (0.320, 0.534)),
    "offset": Bounds(250, 0.93, (0.140, 0.233)),
}
LITHIUM = {
    "charge": Bounds(300, 0.93, (0.136, 0.228)),
    "capacity": Bounds(300, 0.93, (0.447, 0.745)),
    "left": Bounds(300, 0.93, (0.430, 0.723)),
    "usable": Bounds(300, 0.93, (0.335, 0.558)),
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
