"""Bode's polynomials for the equilibrium voltage of acid (Bode 1977, as quoted by Sulzer et al. 2019)."""
import pytest

from monitor.battery import lead_acid

#: molality [mol/kg], one cell [V]: computed from the polynomial with PyBaMM 26.10.1.1, set Sulzer2019.
VALUES = ((1, 1.9220), (2, 1.9746), (3, 2.0168), (4, 2.0546), (5, 2.0896), (6, 2.1226), (7, 2.1541))
#: concentration [mol/m3] -> molality, six cells [V]: same set.
CONCENTRATIONS = ((1000, 1.0175, 11.539), (3000, 3.370, 12.187), (5000, 6.269, 12.787), (5650, 7.362, 12.991))


@pytest.mark.parametrize(("molality", "volts"), VALUES)
def test_cell_voltage_by_molality(molality: float, volts: float) -> None:
    assert lead_acid.cell_voltage_v(molality) == pytest.approx(volts, abs=1e-4)


@pytest.mark.parametrize(("concentration", "molality", "volts"), CONCENTRATIONS)
def test_voltage_by_concentration(concentration: float, molality: float, volts: float) -> None:
    assert lead_acid.molality(concentration) == pytest.approx(molality, rel=5e-4)
    assert 6 * lead_acid.cell_voltage_v(lead_acid.molality(concentration)) == pytest.approx(volts, abs=1.5e-3)


def test_the_trackers_bend_is_the_polynomials() -> None:
    """Between full (5650 mol/m3) and a fifth of it voltage falls with acid used as fall_frac says, within 2 % of the span."""
    full, empty = 5650.0, 1130.0

    def volts(depth: float) -> float:
        return lead_acid.cell_voltage_v(lead_acid.molality(full + (empty - full) * depth))

    span = volts(0.0) - volts(1.0)
    for depth in (0.1, 0.25, 0.5, 0.75, 0.9):
        assert (volts(0.0) - volts(depth)) / span == pytest.approx(lead_acid.fall_frac(depth), abs=0.035)
