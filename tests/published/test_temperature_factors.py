"""Capacity against temperature: IEC and IEEE factors, and two models from papers."""
import pytest

from monitor.battery import lead_acid, ratings
from monitor.battery.label import Battery, CurrentSensor
from monitor.findings import Estimate
from monitor.wear import capacity_test


@pytest.mark.parametrize(("warm_c", "factor"), [(0, 0.85), (10, 0.91), (20, 0.97), (35, 1.06)])
def test_long_discharges_by_iec_60896(warm_c: float, factor: float) -> None:
    """From memory: 0.006 per kelvin, reference 25 °C."""
    assert ratings.warmth_factor(warm_c) == pytest.approx(factor, abs=1e-9)


def test_short_discharges_by_iec_60896() -> None:
    assert ratings.warmth_factor(0.0, 0.010, 20.0) == pytest.approx(0.80)


@pytest.mark.parametrize(("warm_f", "factor"), [(40, 1.300), (50, 1.190), (60, 1.110), (77, 1.000), (100, 0.910), (120, 0.860)])
def test_sizing_factors_by_ieee_485(warm_f: float, factor: float) -> None:
    """Public reprint of table 1 (secondary)."""
    assert ratings.from_table(ratings.SIZING, (warm_f - 32) / 1.8) == pytest.approx(factor, abs=1e-6)


def test_a_capacity_test_is_corrected_as_ieee_450_says() -> None:
    """8 h rate, 7.0 h reached: 99.2 % at 60 °F, 87.5 % at 77 °F (worked example)."""
    assert 7.0 / (8.0 * ratings.from_table(ratings.TESTING, (60 - 32) / 1.8)) == pytest.approx(0.992, abs=5e-4)
    assert 7.0 / (8.0 * ratings.from_table(ratings.TESTING, 25.0)) == pytest.approx(0.875)


def test_the_two_tables_are_not_reciprocal() -> None:
    cold_c = (40 - 32) / 1.8
    assert 1 / ratings.from_table(ratings.SIZING, cold_c) == pytest.approx(0.769, abs=1e-3)
    assert ratings.from_table(ratings.TESTING, cold_c) == pytest.approx(0.670)


def test_self_discharge_about_doubles_in_ten_kelvin() -> None:
    """US Army TM 9-6140-200-14 (looked up): 0.0003, 0.001, 0.0025 of density a day at 50, 80, 100 °F: 2.06 and 2.28 per 10 K."""
    kind = lead_acid.KINDS["flooded"]
    for cold_f, warm_f, seen in ((50, 80, 0.001 / 0.0003), (80, 100, 0.0025 / 0.001)):
        ours = (lead_acid.self_discharge_per_hour(kind, (warm_f - 32) / 1.8)
                / lead_acid.self_discharge_per_hour(kind, (cold_f - 32) / 1.8))
        assert ours == pytest.approx(seen, rel=0.20)


@pytest.mark.parametrize(("rate_a", "at_5_c"), [(100 / 30, 0.992), (100 * 30**-0.5, 0.956), (100.0, 0.920)])
def test_lithium_in_the_cold_gives_a_little_less_slowly_and_more_less_in_an_hour(rate_a: float, at_5_c: float) -> None:
    """Measured at C/30: 0.04 % a kelvin (Plett 2015, University of Colorado); in one hour 0.4 % (common practice); half way between the
    rates, by their logarithm, half way between."""
    lithium, hours = Battery("house", "lfp", 100.0), 50.0 / rate_a
    run = capacity_test.CapacityTestRun("ended", "", 0.0, hours * 3600.0, rate_a * hours, rate_a=rate_a, warm_sum=5.0, warm_s=1.0)
    found = capacity_test.result(run, lithium, CurrentSensor(), Estimate(1, 0.99, 1, "full charge seen"), 11.0)
    assert found.temperature_factor == pytest.approx(at_5_c, abs=0.001)
