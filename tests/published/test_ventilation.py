"""Gas and ventilation as printed in EN 50272 / EN IEC 62485 and by Faraday."""
import pytest

from monitor.circuits import ventilation as v


@pytest.mark.parametrize(("capacity_ah", "gas", "flow"), [(100, 20, .60), (100, 8, .24), (100, 5, .15), (100, 1, .03), (200, 8, .48)])
def test_air_flow(capacity_ah: float, gas: float, flow: float) -> None:
    """EN 50272-2 clause 7.2: Q = 0.05 n Igas C 1e-3 (four reprints agree)."""
    assert v.calculate_ventilation(capacity_ah, gas).flow_m3_per_h == pytest.approx(flow, abs=1e-6)


def test_where_the_printed_factor_comes_from() -> None:
    """24 x 0.42e-3 x 5 = 0.0504 (EN 50272-3)."""
    table = v.VENTILATION["flow"]
    assert table["dilution"] * table["hydrogen_m3_per_ah"] * table["safety"] == pytest.approx(0.0504, abs=1e-6)
    assert table["printed_factor"] == pytest.approx(0.0504, abs=0.0005)


@pytest.mark.parametrize(("gas", "opening"), [(20, 16.8), (8, 6.72), (5, 4.2), (1, 0.84)])
def test_openings(gas: float, opening: float) -> None:
    """EN 50272-2 clause 8.3: A = 28 Q, inlet and outlet each."""
    assert v.calculate_ventilation(100, gas).opening_cm2 == pytest.approx(opening, abs=0.005)


def test_the_room_and_the_distance() -> None:
    """EN 50272-3: 2.5 Q; annex B of EN 50272-2 (from memory): 267 mm a cell, 486 mm for six, about the older text's 0.5 m."""
    assert v.calculate_ventilation(100, 20).room_m3 == pytest.approx(1.5)
    assert v.calculate_ventilation(100, 8, cells=1).distance_mm == pytest.approx(267, abs=1)
    assert v.calculate_ventilation(100, 8).distance_mm == pytest.approx(486, abs=1)


@pytest.mark.parametrize(("chemistry", "boost", "gas"), [
    ("flooded", False, 5), ("agm", False, 1), ("gel", False, 1), ("flooded", True, 20), ("agm", True, 8), ("gel", True, 8)])
def test_gassing_currents(chemistry: str, boost: bool, gas: float) -> None:
    """EN 50272-2 table 1 (sealed float read in a reprint, the others from memory)."""
    assert v.gas_current(chemistry, boost) == gas


def test_hydrogen_of_one_ampere_hour_and_cell() -> None:
    """Faraday: 3600 C are 0.01866 mol, 22.414 l each at 0 °C: 0.418 l."""
    assert 1000 * v.VENTILATION["flow"]["hydrogen_m3_per_ah"] == pytest.approx(0.418, rel=0.01)


@pytest.mark.parametrize(("arguments", "words"), [((0, 5), "between 1 and 5000"), ((100, 0), "200 is the limit"), ((100, 5, 900),
    "no vehicle")])
def test_absurd_batteries_are_refused(arguments: tuple, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        v.calculate_ventilation(*arguments)


def test_lithium_needs_another_rule() -> None:
    with pytest.raises(ValueError, match="no gas"):
        v.gas_current("lfp", True)
