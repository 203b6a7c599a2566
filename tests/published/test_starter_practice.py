"""Starter battery against published figures: self-discharge, parked drain, freezing, load test, resting voltage."""
import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.detection.starter import drain_verdict, starter, surface_decay
from monitor.detection.starter.crank_limits import load_test_v
from monitor.detection.starter.starter_alerts import charge_frac
from monitor.findings import JoinFindings
from monitor.sample import Sample
from monitor.sampling.gather import minutes

VEHICLE = Vehicle(Battery("house", "agm", 100), Battery("starter", "flooded", 70))
OPEN = JoinFindings("open", "off")


def alarms(fall_mv_per_day, days, temperature_c, after_days=0.0):
    """Kinds raised while a rested battery falls so fast from a day on (readings every ten minutes)."""
    held, raised = starter.begin(), {}
    samples = (Sample(600.0 * k, 12.6, -0.5, round((12.65 - fall_mv_per_day / 1000 * max(0, k / 144 - after_days)
                                                    - 0.005 * min(k / 144, after_days)) / 0.00125) * 0.00125,
                      temperature_c) for k in range(1, int(days * 144)))
    for minute in minutes(samples):
        held = starter.update(held, minute, VEHICLE, OPEN)
        for c in starter.conditions(held, VEHICLE):
            if c.active:
                raised.setdefault(c.kind, minute.end_s / 86400)
    return raised


@pytest.mark.parametrize("fahrenheit, mv_per_day", [(50, 1.8), (80, 6.0), (100, 15.0)])
def test_self_discharge_as_the_manual_gives_it_raises_nothing(fahrenheit, mv_per_day):
    # US Army TM 9-6140-200-14, 4-8c: specific gravity falls by 0.0003, 0.001 and 0.0025 a day at 50,
    # 80 and 100 °F; times six cells at 1 V per unit of gravity.
    assert alarms(mv_per_day, 9, (fahrenheit - 32) / 1.8) == {}


def test_self_discharge_doubles_for_ten_kelvin():
    # The same table: factors 2.06 and 2.28 per 10 K. What the filter expects of a battery at rest.
    held = surface_decay.begin(0.0, 12.7, 20.0, surface_decay.Usual())
    falls = []
    for temperature_c in (10.0, 26.7, 37.8):
        at = surface_decay.step(held, 900.0, 12.7, temperature_c)
        falls.append(at.self_factor)
    assert falls[1] / falls[0] == pytest.approx((0.001 / 0.0003) ** 1.0, rel=0.15)
    assert falls[2] / falls[1] == pytest.approx(0.0025 / 0.001, rel=0.15)


def test_five_millivolts_a_day_are_silent_and_forty_are_a_drain():
    # 70 Ah and 50 mA make 1.7 % a day or about 14 mV a day by the rule of 1.2 % per 10 mV (paper
    # "A Rule-of-Thumb for Estimating Battery Charge from Measurement of Open-Circuit Voltage", 2012).
    assert "starter_drain" not in alarms(5, 8, 20.0)
    raised = alarms(40, 8, 20.0, after_days=2.0)
    assert raised["starter_drain"] - 2.0 < 1.25


def test_millivolts_a_day_become_milliamperes_as_practice_has_it():
    # Same arithmetic: 50 mA from 70 Ah is 14 mV a day.
    amps = drain_verdict.amperes(0.014, VEHICLE.starter)
    assert 0.7 * 0.050 < amps < 1.3 * 0.050


def test_what_is_expected_of_a_parked_vehicle_is_what_practice_calls_usual():
    # Public training pages: up to 25 to 35 mA is usual, above 75 mA look for it.
    quiet = drain_verdict.amperes(surface_decay.FALL_V_PER_DAY, VEHICLE.starter)
    assert 0.010 <= quiet <= 0.035


@pytest.mark.parametrize("temperature_c, volts", [(25, 9.6), (20, 9.6), (16, 9.5), (10, 9.4), (4, 9.3), (-1, 9.1),
                                                  (-7, 8.9), (-12, 8.7), (-18, 8.5), (-30, 8.5)])
def test_load_test_table(temperature_c, volts):
    # BCI load-test table (from memory).
    assert load_test_v(temperature_c) == pytest.approx(volts, abs=0.01)


@pytest.mark.parametrize("temperature_c, volts", [(21, 9.6), (10, 9.4), (0, 9.1)])
def test_load_test_limits_agree_with_the_other_version_in_print_above_freezing(temperature_c, volts):
    assert load_test_v(temperature_c) == pytest.approx(volts, abs=0.06)


@pytest.mark.parametrize("volts, charge", [(12.0, 0.25), (12.2, 0.50), (12.4, 0.75), (12.6, 1.0)])
def test_rest_voltage_of_a_flooded_starter_battery(volts, charge):
    # US Army TM 5-3805-262-20, paragraph 5-9. Ours is the table of no one maker: within 15 points.
    assert charge_frac(volts, 25.0, VEHICLE.starter) == pytest.approx(charge, abs=0.15)
