"""Rest voltage of lead-acid and lithium batteries against published tables."""
import pytest

from monitor.battery import frost, lead_acid, lithium_iron
from monitor.battery.label import Battery

#: US Army TM 5-3805-262-20, para. 5-9 (flooded starter type, 12 V): charge, volts. Looked up.
ARMY_STARTER = ((0.25, 12.0), (0.50, 12.2), (0.75, 12.4), (1.0, 12.6))
#: BCI Service Manual, flooded, 26.7 °C. From memory.
BCI_FLOODED = ((1.0, 12.65), (0.75, 12.45), (0.50, 12.24), (0.25, 12.06), (0.0, 11.89))
#: Ceraolo, IEEE Trans. Power Systems 15 (2000) 1184: Em0 2.135 V, Ke 0.580 mV/K (from memory), times six, 25 °C.
CERAOLO = ((1.0, 12.81), (0.75, 12.55), (0.5, 12.29), (0.25, 12.03), (0.0, 11.77))
#: Jackey, SAE 2007-01-0778: Em0 2.18 V, Ke 0.6 mV/K. Looked up in published demo parameters, values computed.
JACKEY = ((1.0, 13.08), (0.5, 12.54), (0.0, 12.01))


@pytest.mark.parametrize(("charge_frac", "volts"), ARMY_STARTER)
def test_flooded_prior_covers_the_army_table(charge_frac: float, volts: float) -> None:
    assert lead_acid.rest_voltage_v(lead_acid.KINDS["flooded"], charge_frac) == pytest.approx(volts, abs=0.13)


@pytest.mark.parametrize(("charge_frac", "volts"), BCI_FLOODED)
def test_flooded_prior_covers_the_bci_table(charge_frac: float, volts: float) -> None:
    kind = lead_acid.KINDS["flooded"]
    doubt = (kind.full_sigma_v**2 + (kind.span_sigma_ln * kind.span_v * (1 - charge_frac)) ** 2) ** 0.5
    assert abs(lead_acid.rest_voltage_v(kind, charge_frac, 26.7) - volts) < 1.3 * doubt


@pytest.mark.parametrize("table", [CERAOLO, JACKEY], ids=["Ceraolo 2000", "Jackey 2007"])
def test_agm_prior_covers_published_valve_regulated_batteries(table: tuple) -> None:
    kind = lead_acid.KINDS["agm"]
    for charge_frac, volts in table:
        doubt = (kind.full_sigma_v**2 + (kind.span_sigma_ln * kind.span_v * (1 - charge_frac)) ** 2) ** 0.5
        assert abs(lead_acid.rest_voltage_v(kind, charge_frac) - volts) < 2.0 * doubt


def test_ten_millivolts_are_about_one_per_cent() -> None:
    """A rule of thumb (2012, issue 2.1, author not visible): 10 mV of corrected rest voltage is about 1.2 % of charge."""
    kind = lead_acid.KINDS["flooded"]
    slope = lead_acid.rest_voltage_v(kind, 0.6) - lead_acid.rest_voltage_v(kind, 0.5)
    assert 0.9 < 10.0 * 0.010 / slope < 1.4


@pytest.mark.parametrize("name", ["flooded", "agm", "gel"])
def test_twenty_kelvin_move_rest_voltage_little(name: str) -> None:
    """Bode 1977; Linden (from memory): +0.20 to 0.25 mV/K a cell, not the 3 to 5 mV/K of charging voltage."""
    kind = lead_acid.KINDS[name]
    change = lead_acid.rest_voltage_v(kind, 0.7, 25.0) - lead_acid.rest_voltage_v(kind, 0.7, 5.0)
    assert 0.020 < change < 0.031


def test_density_gives_the_army_voltages() -> None:
    """TM 5-4210-230-14&P-1, table 2 (densities) and TM 5-3805-262-20 (voltages), looked up, agree within 0.01 of density (0.06 V)."""
    for density, volts in ((1.265, 12.6), (1.225, 12.4), (1.190, 12.2), (1.155, 12.0)):
        assert frost.density_from_rest_voltage_kg_l(volts) == pytest.approx(density, abs=0.01)


#: Prada2013 set at 25 °C, times four, computed with PyBaMM 26.10.1.1: charge, volts of the plateau and its two steps.
PRADA = ((0.2, 12.67), (0.3, 12.82), (0.4, 13.01), (0.5, 13.06), (0.6, 13.08), (0.7, 13.10), (0.8, 13.24), (0.9, 13.26))


@pytest.mark.parametrize(("charge_frac", "volts"), PRADA)
def test_lithium_curve_lies_within_its_own_doubt_of_a_published_cell(charge_frac: float, volts: float) -> None:
    assert lithium_iron.rest_voltage_v(charge_frac) == pytest.approx(volts, abs=0.12)


def test_lithium_plateau_is_too_flat_to_read() -> None:
    """Same set: 20 mV between 50 and 60 %, 20 mV between 80 and 90 %, 150 mV between 20 and 30 %.

    Srinivasan and Newman, Electrochem. Solid-State Lett. 9 (2006) A110: about 20 mV a cell between directions, so
    direction alone moves a reading on the plateau by more than thirty points of charge.
    """
    def rise(low: float, high: float) -> float:
        return lithium_iron.rest_voltage_v(high) - lithium_iron.rest_voltage_v(low)

    assert rise(0.5, 0.6) <= 0.025 and rise(0.8, 0.9) <= 0.025
    assert rise(0.2, 0.3) == pytest.approx(0.15, abs=0.04)
    gap = lithium_iron.rest_voltage_v(0.6, 1.0) - lithium_iron.rest_voltage_v(0.6, -1.0)
    assert 0.040 <= gap <= 0.100
    assert gap > 2 * rise(0.5, 0.65)




@pytest.mark.parametrize(("density", "volts"), [(1.200, 12.24), (1.225, 12.39)])
def test_the_density_that_the_owner_measured_sets_the_full_rest_voltage(density: float, volts: float) -> None:
    """Full at 1.200 to 1.225 kg/L in the tropics (US Army TM 9-8000), density + 0.84 V a cell (Linden): 0.3 V below ordinary acid."""
    kind = lead_acid.construction(Battery("house", "flooded", 100.0, acid_density_kg_l=density))
    assert lead_acid.rest_voltage_v(kind, 1.0) == pytest.approx(volts, abs=0.01)
    assert frost.density_of_kg_l(Battery("house", "flooded", 100.0, acid_density_kg_l=density), 1.0) == pytest.approx(density)
    assert lead_acid.construction(Battery("house", "flooded", 100.0)) is lead_acid.KINDS["flooded"]
