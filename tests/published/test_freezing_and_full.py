"""Freezing acid, full and resting voltages, and what a rest is worth, against manuals and handbooks, on what the product says."""
import pytest

from monitor.battery import lead_acid, lithium_iron
from monitor.battery.frost import freezing_point_c

#: US Army TM 10-6140-200-14, table 1-1 (looked up): density of motive-power acid -> °F at which it freezes.
MOTIVE_POWER = ((1.250, -62), (1.220, -31), (1.160, 1))


@pytest.mark.parametrize(("density", "fahrenheit"), MOTIVE_POWER)
def test_a_second_manuals_freezing_points(density: float, fahrenheit: float) -> None:
    """The table in use is that of another manual (TM 5-4210-230-14&P-1): both agree within 4 K where a warning could be due."""
    assert freezing_point_c(density) == pytest.approx((fahrenheit - 32) / 1.8, abs=4.0)


#: Common handbook values for AGM and gel at 25 °C (from memory): charge -> lowest and highest in print.
SEALED = ((1.0, 12.80, 13.00), (0.75, 12.60, 12.65), (0.5, 12.30, 12.35), (0.25, 12.00, 12.00))


@pytest.mark.parametrize("name", ["agm", "gel"])
@pytest.mark.parametrize(("charge_frac", "low", "high"), SEALED)
def test_sealed_batteries_rest_where_handbooks_have_them(name: str, charge_frac: float, low: float, high: float) -> None:
    """Within 0.1 V, 12 points of charge, of what is printed: the spread between printed tables."""
    assert low - 0.10 <= lead_acid.rest_voltage_v(lead_acid.KINDS[name], charge_frac) <= high + 0.10


@pytest.mark.parametrize(("name", "low", "high"), [("flooded", 12.6, 12.8), ("agm", 12.8, 13.0), ("gel", 12.7, 13.0)])
def test_a_full_battery_rests_where_practice_has_it(name: str, low: float, high: float) -> None:
    """Common practice: 12.6 to 12.8 V flooded, to about 13.0 V sealed."""
    assert low <= lead_acid.KINDS[name].full_v <= high


def test_a_full_lithium_battery_rests_between_13_3_and_13_4_v() -> None:
    """Common practice, and 13.27 V at 95 %, 13.40 V at 98 % of the Prada2013 set (PyBaMM 26.10.1.1)."""
    assert lithium_iron.rest_voltage_v(0.95) == pytest.approx(13.27, abs=0.08)
    assert lithium_iron.rest_voltage_v(0.98) == pytest.approx(13.40, abs=0.08)


@pytest.mark.parametrize(("charge_frac", "points"), [(0.25, 0.5), (0.55, 9.0), (0.87, 15.0)])
def test_ten_millivolts_of_a_lithium_battery_are_worth_what_a_published_cell_says(charge_frac: float, points: float) -> None:
    """Slopes of the Prada2013 set (computed with PyBaMM 26.10.1.1): 10 mV are 0.5 points at a quarter, 5 to 13 about the middle,
    15 near 90 %. Ours within a factor of three: no reading of the plateau may be taken for more than that."""
    slope = (lithium_iron.rest_voltage_v(charge_frac + 0.03) - lithium_iron.rest_voltage_v(charge_frac - 0.03)) / 6.0
    assert points / 3 <= 0.010 / slope <= points * 3


def test_the_gap_between_charge_and_discharge_is_less_than_that_of_a_slow_cycle() -> None:
    """LFP electrode, slow charge against slow discharge: 56 to 68 mV a cell, mean 57.5 (data in batmods-lite 0.0.2): an upper
    bound, for it is not at rest; after long rest 10 to 25 mV a cell (Roscher and Sauer 2011, from memory)."""
    for charge_frac in (0.3, 0.5, 0.7):
        gap = lithium_iron.rest_voltage_v(charge_frac, 1.0) - lithium_iron.rest_voltage_v(charge_frac, -1.0)
        assert 4 * 0.010 <= gap <= 4 * 0.0575
