"""Capacity against temperature: IEC and IEEE factors, and two models from papers."""
import pytest

from monitor.battery import lead_acid, ratings


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
    """8 h rate, 7.0 h reached: 99.2 % at 60 °F, 87.5 % at 77 °F."""
    assert ratings.tested_capacity_frac(7.0, 8.0, (60 - 32) / 1.8) == pytest.approx(0.992, abs=5e-4)
    assert ratings.tested_capacity_frac(7.0, 8.0, 25.0) == pytest.approx(0.875)


def test_the_two_tables_are_not_reciprocal() -> None:
    cold_c = (40 - 32) / 1.8
    assert 1 / ratings.from_table(ratings.SIZING, cold_c) == pytest.approx(0.769, abs=1e-3)
    assert ratings.from_table(ratings.TESTING, cold_c) == pytest.approx(0.670)


@pytest.mark.parametrize(("rate", "factor"), [(0.1, 1.540), (0.5, 1.229), (1, 1.000), (2, 0.742), (5, 0.434), (10, 0.264)])
def test_rate_factor_of_copetti(rate: float, factor: float) -> None:
    """Copetti, Lorenzo and Chenlo 1993 (from memory; values computed from it)."""
    assert ratings.rate_factor(rate) == pytest.approx(factor, abs=1e-3)


@pytest.mark.parametrize(("amps", "warm_c", "ah"), [(0, 25, 578), (25, 25, 540), (49, 25, 490), (100, 25, 388)])
def test_capacity_of_ceraolo(amps: float, warm_c: float, ah: float) -> None:
    """Ceraolo 2000 (from memory): a 500 Ah battery."""
    assert ratings.ceraolo_capacity_ah(amps, warm_c) == pytest.approx(ah, rel=0.015)


def test_capacity_of_ceraolo_at_its_reference() -> None:
    assert ratings.ceraolo_capacity_ah(49.0, 0.0) == pytest.approx(261.9, rel=1e-9)


def test_self_discharge_about_doubles_in_ten_kelvin() -> None:
    """US Army TM 9-6140-200-14 (looked up): 0.0003, 0.001, 0.0025 of density a day at 50, 80, 100 °F: 2.06 and 2.28 per 10 K."""
    kind = lead_acid.KINDS["flooded"]
    for cold_f, warm_f, seen in ((50, 80, 0.001 / 0.0003), (80, 100, 0.0025 / 0.001)):
        ours = (lead_acid.self_discharge_per_hour(kind, (warm_f - 32) / 1.8)
                / lead_acid.self_discharge_per_hour(kind, (cold_f - 32) / 1.8))
        assert ours == pytest.approx(seen, rel=0.20)
