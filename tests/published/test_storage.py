"""Storage and frost as printed by US Army manuals and papers."""
import pytest

from monitor.battery import frost
from monitor.planning import storage


@pytest.mark.parametrize(("temperature_c", "kg_l_per_day"), [(10.0, 0.0003), (26.7, 0.001), (37.8, 0.0025)])
def test_density_falls_as_the_manual_says(temperature_c: float, kg_l_per_day: float) -> None:
    """TM 9-6140-200-14, 4-8c, at 50, 80 and 100 °F."""
    assert storage.density_loss_kg_l_per_day(temperature_c) == pytest.approx(kg_l_per_day, rel=1e-9)


@pytest.mark.parametrize(("temperature_c", "days"), [(26.7, 40), (37.8, 16), (10.0, 133)])
def test_days_to_the_recharge_point(temperature_c: float, days: float) -> None:
    """From 1.265 to 1.225 (TM 5-3820-256-24-4 with TM 9-6140-200-14)."""
    assert (1.265 - 1.225) / storage.density_loss_kg_l_per_day(temperature_c) == pytest.approx(days, rel=0.1)


def test_a_month_in_the_warm_costs_three_hundredths() -> None:
    """TM 5-1185: about 0.001 a day below 80 °F: recharge every 30 days."""
    assert 30 * storage.density_loss_kg_l_per_day(26.7) == pytest.approx(0.030, rel=0.2)
    assert storage.look_every_days("flooded") == 30


def test_the_recharge_point_is_three_quarters_and_12_4_volts() -> None:
    """1.225 is 75 % (TM 5-4210-230-14&P-1, table 2) and 6 (1.225 + 0.84) = 12.39 V."""
    assert storage.refresh_at_frac("flooded") == 0.75
    assert pytest.approx(12.39, abs=0.005) == 6 * (1.225 + 0.84)


@pytest.mark.parametrize(("temperature_c", "share_30_days"), [(37.8, .52), (26.7, .21), (10.0, .06)])
def test_the_most_a_flooded_battery_loses_is_the_manuals(temperature_c: float, share_30_days: float) -> None:
    """Density loss over the span of 0.145: 52, 21 and 6 % in thirty days at first."""
    assert 30 * storage.self_discharge_per_day("flooded", temperature_c)[1] == pytest.approx(share_30_days, rel=0.08)


@pytest.mark.parametrize("chemistry", ["flooded", "agm", "gel", "lfp"])
def test_self_discharge_doubles_every_ten_kelvin_at_least_and_the_least_is_below_the_most(chemistry: str) -> None:
    """The manual's own figures give 2.06 and 2.28 for 10 K."""
    cool, warm = storage.self_discharge_per_day(chemistry, 15), storage.self_discharge_per_day(chemistry, 25)
    assert warm[0] / cool[0] == pytest.approx(2.0) and 1.9 < warm[1] / cool[1] < 2.4
    assert cool[0] < cool[1]


def test_an_encyclopaedias_months_lie_within() -> None:
    """20 °C: lead-acid 4 to 6 %, lithium 2 to 3 % a month."""
    low, high = storage.self_discharge_per_day("flooded", 20)
    assert 30 * low <= 0.04 and 30 * high >= 0.06
    low, high = storage.self_discharge_per_day("lfp", 20)
    assert 30 * low <= 0.02 and 30 * high + 1e-9 >= 0.03


def test_lithium_is_left_at_half() -> None:
    """Naumann et al., J. Energy Storage 17 (2018) 153: five years at 25 °C cost 9.5 points at half charge, 15.2 at full."""
    def loss_pct(charge: float, years: float) -> float:
        return 100 * 1.2571e-5 * (years * 365.25 * 86400) ** 0.5 * (2.8575 * (charge - 0.5) ** 3 + 0.60225)

    assert loss_pct(0.5, 5) == pytest.approx(9.5, abs=0.1) and loss_pct(1.0, 5) == pytest.approx(15.15, abs=0.1)
    assert 0.3 <= storage.leave_at_frac("lfp") <= 0.5 and storage.leave_at_frac("agm") == 1.0


@pytest.mark.parametrize(("rest_v", "freezes_c"), [(11.3, -3.1), (11.6, -6.7), (11.9, -13.8), (12.1, -22.1), (12.4, -38.2)])
def test_frost_by_rest_voltage(rest_v: float, freezes_c: float) -> None:
    """SG = V/6 - 0.84 with the freezing table of three manuals."""
    assert frost.freezing_point_c(frost.density_from_rest_voltage_kg_l(rest_v)) == pytest.approx(freezes_c, abs=1.5)
