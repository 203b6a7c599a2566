"""Sizing a first system: published worksheets, IEEE factors."""
import pytest

from monitor.planning import sizing


def test_the_stand_alone_camp_worksheet() -> None:
    """US stand-alone PV worksheet, 24 V camp at 31.53 N (two public copies): 7463 Wh a day, 7 days, 80 %, no margins."""
    assert sizing.battery_with_margins(7463 / 24, 7, 0.8, 25.0, 0.0, 1.0) == pytest.approx(2721, abs=1)
    assert sizing.array_output_wh(7463) == pytest.approx(8780, abs=1)


def test_the_ieee_1013_form() -> None:
    """IEEE 1013-2019, from memory: 40 Ah, 3 days, 50 %, end of life 0.8, 50 °F, 10 % margin."""
    assert sizing.battery_with_margins(40, 3, 0.5, 10.0) == pytest.approx(392.7, abs=0.1)


@pytest.mark.parametrize(("fahrenheit", "factor"), [
    (25, 1.520), (40, 1.300), (50, 1.190), (60, 1.110), (77, 1.000), (90, 0.940), (120, 0.860)])
def test_cell_sizing_factors(fahrenheit: float, factor: float) -> None:
    """IEEE 485 table 1, public reprint (25 °F row from memory)."""
    assert sizing.sizing_factor((fahrenheit - 32) * 5 / 9) == pytest.approx(factor, abs=1e-6)


def test_the_sizing_factor_is_not_the_inverse_of_the_test_factor() -> None:
    """IEEE 450's time-adjusted factor at 40 °F is 0.670; 1/1.300 would be 0.769. Never derive one from the other."""
    assert abs(1 / sizing.sizing_factor((40 - 32) * 5 / 9) - 0.670) > 0.09


def test_impossible_wishes_get_a_sentence() -> None:
    with pytest.raises(ValueError, match="must"):
        sizing.battery_with_margins(0, 3, 0.5, 10.0)
