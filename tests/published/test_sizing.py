"""Sizing a first system: published worksheets, IEEE factors, clear-sky totals."""
import pytest

from monitor.planning import sizing


def test_the_stand_alone_camp_worksheet_line_by_line() -> None:
    """US stand-alone PV worksheet, 24 V camp at 31.53 N (two public copies): each line within one unit."""
    sized = sizing.battery(7463, 24, days=7, depth_frac=0.8, unit_ah=478, unit_v=12)
    assert sized.daily_ah == pytest.approx(311, abs=1)
    assert sized.needed_ah == pytest.approx(2721, abs=1)
    assert (sized.parallel, sized.series, sized.parallel * sized.series) == (6, 2, 12)
    assert sized.chosen_ah == pytest.approx(2868, abs=1)
    assert sized.energy_wh / 1000 == pytest.approx(68.8, abs=0.1)
    assert 100 * sized.mean_daily_depth_frac == pytest.approx(8, abs=0.5)
    assert sizing.array_output_wh(7463) == pytest.approx(8780, abs=1)


def test_the_worksheets_toaster_slip_is_a_quarter_hour() -> None:
    """The sheet prints .025 h and 441 Wh; only .25 h gives its own product."""
    assert sizing.daily_energy_wh([sizing.Load("toaster", 1765, 0.25)]) == pytest.approx(441, abs=1)
    assert sizing.daily_energy_wh([sizing.Load("toaster", 1765, 0.025)]) == pytest.approx(44, abs=1)


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


@pytest.mark.parametrize(("latitude_deg", "winter_kwh", "summer_kwh"), [(30, 3.69, 8.68), (45, 1.81, 8.78), (51.5, 1.05, 8.68)])
def test_clear_sky_totals_of_the_reference_library(latitude_deg: float, winter_kwh: float, summer_kwh: float) -> None:
    """pvlib 0.16.1, Haurwitz, horizontal, 21 December and 21 June 2024."""
    assert sizing.clear_sky_wh_m2(latitude_deg, 355) / 1000 == pytest.approx(winter_kwh, abs=0.06)
    assert sizing.clear_sky_wh_m2(latitude_deg, 172) / 1000 == pytest.approx(summer_kwh, abs=0.06)


@pytest.mark.parametrize("call", [
    lambda: sizing.battery(0, 12, 3, 0.5), lambda: sizing.clear_sky_wh_m2(120, 1)])
def test_impossible_wishes_get_a_sentence(call) -> None:
    with pytest.raises(ValueError, match="must"):
        call()
