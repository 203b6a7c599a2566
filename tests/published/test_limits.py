"""The limits of batteries against print: freezing, density, charging voltage, heat, cold, deep discharge, cell by cell.

Where each row was read, and how well, stands in docs/references.md; "from memory" is marked.
"""
import pytest

from monitor.battery.frost import density_from_rest_voltage_kg_l, density_of_kg_l, freezing_point_c
from monitor.battery.label import Battery
from monitor.battery.limits import ageing_ratio, held_voltage_v, limits_of, over_voltage_v, rows
from monitor.detection.house import frost
from monitor.detection.house.frost import Acid

# US Army TM 5-1185, table III: specific gravity and freezing point in °F.
TM_5_1185 = ((1.280, -90), (1.250, -62), (1.200, -16), (1.150, 5), (1.100, 19))
# US Army TM 10-6140-200-14, table 1-1 (motive power): likewise.
TM_10_6140 = ((1.280, -95), (1.250, -62), (1.220, -31), (1.160, 1))
# US Army TM 5-4210-230-14&P-1, table 2: gravity and °C, with the charge it belongs to.
TM_5_4210 = ((1.265, -59.5, 1.0), (1.225, -37.2, 0.75), (1.190, -26.1, 0.5), (1.155, -15.0, 0.25), (1.120, -9.4, 0.0))


@pytest.mark.parametrize(("density", "fahrenheit"), TM_5_1185)
def test_freezing_points_of_one_manual(density: float, fahrenheit: float) -> None:
    assert freezing_point_c(density) == pytest.approx((fahrenheit - 32) / 1.8, abs=0.1)


@pytest.mark.parametrize(("density", "fahrenheit"), TM_10_6140)
def test_freezing_points_of_the_second_manual_within_what_the_manuals_differ(density: float, fahrenheit: float) -> None:
    assert freezing_point_c(density) == pytest.approx((fahrenheit - 32) / 1.8, abs=2.8)


@pytest.mark.parametrize(("density", "celsius", "charge"), TM_5_4210)
def test_freezing_points_of_the_third_manual(density: float, celsius: float, charge: float) -> None:
    assert freezing_point_c(density) == pytest.approx(celsius, abs=1.5)


def test_water_freezes_at_zero_and_so_does_acid_that_is_spent() -> None:
    """Physics: the manuals leave the row out, and a table that ends at 1.120 claims -9.4 °C for thin acid."""
    assert freezing_point_c(1.0) == freezing_point_c(0.9) == 0.0
    assert -4.0 < freezing_point_c(1.05) < -2.0


@pytest.mark.parametrize(("by_mass", "density", "celsius"), [(10, 1.066, -5.0), (20, 1.139, -13.6)])
def test_freezing_points_of_dilute_acid_by_mass(by_mass: float, density: float, celsius: float) -> None:
    """CRC Handbook, concentrative properties of sulphuric acid (from memory)."""
    assert freezing_point_c(density) == pytest.approx(celsius, abs=1.0)


def test_it_never_freezes_later_the_thinner_it_is() -> None:
    points = [freezing_point_c(1.0 + k / 1000) for k in range(300)]
    assert all(b <= a for a, b in zip(points, points[1:], strict=False))


@pytest.mark.parametrize(("density", "rest_v"), [(1.265, 12.63), (1.225, 12.39), (1.190, 12.18), (1.155, 11.97), (1.120, 11.76)])
def test_density_and_rest_voltage_of_the_handbook(density: float, rest_v: float) -> None:
    """Cell voltage is density and 0.84 (Linden, from memory); the voltages agree with TM 5-3805-262-20 within 0.06 V."""
    assert density_from_rest_voltage_kg_l(rest_v) == pytest.approx(density, abs=0.002)


@pytest.mark.parametrize(("rest_v", "celsius"), [(11.3, -3.1), (11.6, -6.7), (11.9, -13.8), (12.1, -22.1), (12.4, -38.2)])
def test_freezing_point_from_rest_voltage(rest_v: float, celsius: float) -> None:
    """The two relations above together, worked by hand."""
    assert freezing_point_c(density_from_rest_voltage_kg_l(rest_v)) == pytest.approx(celsius, abs=1.5)


@pytest.mark.parametrize(("rest_v", "air_c", "warns"), [(11.3, -4.0, True), (11.9, -4.0, False), (11.9, -16.0, True), (12.2, -16.0, False)])
def test_pairs_that_must_and_must_not_warn(rest_v: float, air_c: float, warns: bool) -> None:
    """Read off the manuals' tables: at -4 °C a battery at 11.3 V is in danger and one at 11.9 V is not."""
    battery = Battery("house", "flooded", 100)
    assert frost.at_risk(Acid(0.0, density_from_rest_voltage_kg_l(rest_v)), air_c, battery) is warns


@pytest.mark.parametrize(("charge", "density"), [(1.0, 1.265), (0.75, 1.225), (0.5, 1.190), (0.25, 1.155), (0.0, 1.120)])
def test_density_of_a_flooded_battery_by_charge(charge: float, density: float) -> None:
    """TM 5-4210-230-14&P-1, table 2. Full densities in print run from 1.225 (tropics) to 1.280, so within 0.02."""
    assert density_of_kg_l(Battery("house", "flooded", 100), charge) == pytest.approx(density, abs=0.02)


def test_a_full_battery_of_the_tropics_reads_thin_and_is_judged_by_its_voltage() -> None:
    """US Army TM 9-8000: full at 1.200 to 1.225 in tropical climates. At 12.24 V it freezes from about -27 °C, full or not."""
    assert freezing_point_c(density_from_rest_voltage_kg_l(12.24)) == pytest.approx(-26.7, abs=0.5)


@pytest.mark.parametrize(("chemistry", "low", "high"),
                         [("flooded", 14.4, 14.8), ("agm", 14.4, 14.7), ("gel", 14.1, 14.4), ("lfp", 14.0, 14.6)])
def test_charging_voltages_of_the_handbooks_are_allowed_and_not_much_more(chemistry: str, low: float, high: float) -> None:
    """Linden; Berndt (from memory): absorption at 25 °C. Lithium 3.65 V a cell."""
    battery = Battery("house", chemistry, 100)
    assert low < high == limits_of(chemistry).charge_upper_v
    assert high < held_voltage_v(battery, 25.0) <= high + 0.15
    assert held_voltage_v(battery, 25.0) <= over_voltage_v(battery, 25.0) <= 15.0


def test_gel_bears_less_than_agm_and_agm_less_than_flooded() -> None:
    kinds = [limits_of(c) for c in ("gel", "agm", "flooded")]
    assert [k.charge_upper_v for k in kinds] == sorted({k.charge_upper_v for k in kinds})
    assert [k.over_voltage_v for k in kinds] == sorted({k.over_voltage_v for k in kinds})


@pytest.mark.parametrize(("temperature_c", "gentle_v", "steep_v"), [(45.0, 13.92, 13.80), (10.0, 14.76, 14.85)])
def test_a_gel_charger_that_compensates_by_4_or_5_mv_a_cell_is_never_called_wrong(temperature_c: float, gentle_v: float,
                                                                                  steep_v: float) -> None:
    """14.4 V at 25 °C and -4 or -5 mV a cell and kelvin (IEEE 1187/1188 practice, from memory)."""
    battery = Battery("house", "gel", 100)
    assert held_voltage_v(battery, temperature_c) > max(gentle_v, steep_v)


@pytest.mark.parametrize(("temperature_c", "gel_v", "agm_v"), [(25.0, 13.50, 13.62), (0.0, 13.95, 14.07), (45.0, 13.14, 13.26)])
def test_float_voltages_of_a_published_fit_are_allowed(temperature_c: float, gel_v: float, agm_v: float) -> None:
    """2.265 and 2.285 V a cell, -3 mV a kelvin from 20 °C: an engineer's fit of two float curves (reprint)."""
    assert held_voltage_v(Battery("house", "gel", 100), temperature_c) > gel_v
    assert held_voltage_v(Battery("house", "agm", 100), temperature_c) > agm_v


@pytest.mark.parametrize(("rule_k", "temperature_c", "life_frac"),
                         [(10.0, 35.0, 0.5), (8.0, 35.0, 0.42), (10.0, 45.0, 0.25), (8.0, 45.0, 0.18)])
def test_life_in_heat_lies_between_the_published_rules(rule_k: float, temperature_c: float, life_frac: float) -> None:
    """Life halves per 8 or 10 K above 25 °C (IEEE 1188 practice, from memory); corrosion per 15 K (Schiffer 2007)."""
    gentle, harsh = ageing_ratio(limits_of("agm"), temperature_c)
    assert 1 / harsh - 0.005 <= life_frac <= 1 / gentle


@pytest.mark.parametrize(("temperature_c", "calendar_pct"), [(45.0, 5.82)])
def test_lithium_in_heat_by_the_capacity_rule(temperature_c: float, calendar_pct: float) -> None:
    """Schimpe et al., J. Electrochem. Soc. 165 (2018) A181: 3.45 % a year at 25 °C, 5.82 % at 45 °C."""
    gentle, _ = ageing_ratio(limits_of("lfp"), temperature_c)
    assert gentle == pytest.approx(calendar_pct / 3.45, rel=0.05)


def test_lithium_in_heat_by_the_resistance_rule() -> None:
    """Naumann et al., J. Energy Storage 17 (2018) 153: 71.8 kJ/mol, which is 2.56 from 25 to 35 °C."""
    _, harsh = ageing_ratio(limits_of("lfp"), 35.0)
    assert harsh == pytest.approx(2.56, rel=0.02)


@pytest.mark.parametrize(("name", "chemistry", "value"), [
    ("deep_discharge_v", "flooded", 10.5),     # US Army TM 9-6140-200-14, 2-4a
    ("deep_discharge_v", "lfp", 10.0),         # 2.5 V a cell (from memory)
    ("cold_charge_c", "lfp", 0.0),             # charge window 0 to 45 °C (from memory)
    ("hot_c", "lfp", 45.0),
    ("slow_rate_per_h", "lfp", 0.1),           # no more than a tenth from 0 to 5 °C (from memory)
    ("slow_below_c", "lfp", 5.0),
    ("hot_high_c", "agm", 50.0),               # no charging of sealed lead-acid above 50 °C (practice, cf. IEEE 1188)
    ("hot_high_c", "gel", 50.0),
    ("runaway_above_air_k", "agm", 10.0),      # nor more than 10 K above what surrounds it
    ("charge_upper_v", "lfp", 4 * 3.65),
    ("cold_margin_k", "lfp", 2.0),             # Vaccaro, Rhoades, Le, INTELEC 1996: within 2 °C at the wall
])
def test_single_limits_as_printed(name: str, chemistry: str, value: float) -> None:
    assert getattr(limits_of(chemistry), name) == pytest.approx(value)


def test_lithium_is_warned_of_before_its_protection_acts() -> None:
    """Over-charge protection at 3.75 ± 0.05 V a cell, under-voltage from 2.5 V down (cell practice, from memory)."""
    lithium = limits_of("lfp")
    assert lithium.over_voltage_v <= 4 * 3.70 and lithium.under_voltage_v > lithium.deep_discharge_v > 4 * 2.0


def test_imbalance_takes_as_long_as_arithmetic_says() -> None:
    """5 Ah bled at 50 mA only near the top: 100 h, which is 100 days at an hour a day. The alert comes no later."""
    assert limits_of("lfp").never_full_days <= 5.0 / 0.050


def test_every_row_names_its_source() -> None:
    assert len(rows()) > 25
    assert all(row.source and row.means for row in rows())
