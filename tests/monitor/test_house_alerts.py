"""Warnings about the house battery, through the alert rules: in time, once, and not by guesses or short dips."""
from dataclasses import replace

import pytest

from monitor.alerts import rules
from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import over_voltage_v
from monitor.detection.house import house_alerts, limit_alerts
from monitor.findings import ChargeFindings, Estimate, JoinFindings, NotYet
from monitor.sample import Minute
from monitor.store.saving import from_text, to_text

AGM = Vehicle(Battery("house", "agm", 100, reserve_soc_frac=0.5), Battery("starter", "flooded", 70))
LFP = Vehicle(Battery("house", "lfp", 100, reserve_soc_frac=0.2), Battery("starter", "flooded", 70))
NOTHING = NotYet("")


def _charge(value: float | None, half_width: float = 0.05) -> ChargeFindings:
    known = NOTHING if value is None else Estimate(value, max(value - half_width, 0), min(value + half_width, 1), "counting")
    return ChargeFindings(known, NOTHING, NOTHING, NOTHING, NOTHING, NOTHING)


def _live(vehicle: Vehicle, minutes: list[dict], charge=lambda k: _charge(0.8),
          join=lambda k: JoinFindings()) -> list[tuple[float, str, str]]:
    """(second, what, kind) of everything the alert rules say about these minutes."""
    held, limits, alerts, said = house_alerts.begin(), limit_alerts.begin(), rules.begin(), []
    for k, values in enumerate(minutes):
        minute = Minute(k * 60.0, k * 60.0 + 60, (), **{"house_voltage_v": 12.8, "house_current_a": -1.0} | values)
        held = house_alerts.update(held, minute, vehicle, charge(k), join(k))
        limits = limit_alerts.update(limits, minute, vehicle, charge(k))
        found = (*house_alerts.conditions(held, vehicle), *limit_alerts.conditions(limits, vehicle))
        alerts = rules.update(alerts, found, minute.end_s)
        said += [(c.at_s, c.what, c.alert.kind) for c in alerts.news]
    assert from_text(house_alerts.HouseAlertsState, to_text(held)) == held
    assert from_text(limit_alerts.LimitsState, to_text(limits)) == limits
    return said


def test_a_charge_below_the_reserve_is_said_after_ten_minutes() -> None:
    said = _live(AGM, [{}] * 60, lambda k: _charge(0.52 - 0.001 * k))
    assert [(what, kind) for _, what, kind in said] == [("raised", "house_low")]
    assert 20 * 60 + 600 <= said[0][0] <= 35 * 60


def test_a_wide_first_guess_wakes_nobody() -> None:
    assert _live(AGM, [{}] * 60, lambda k: _charge(0.45, 0.4)) == []
    assert _live(AGM, [{}] * 60, lambda k: _charge(None)) == []


def test_charge_that_wavers_about_the_reserve_is_one_alert() -> None:
    said = _live(AGM, [{}] * 600, lambda k: _charge(0.5 + (0.02 if k // 15 % 2 else -0.02)))
    assert [what for _, what, _ in said] == ["raised"]


def test_half_the_reserve_is_worse() -> None:
    said = _live(LFP, [{}] * 120, lambda k: _charge(0.19 - 0.001 * k, 0.03))
    assert [what for _, what, _ in said] == ["raised", "worse"]


def test_a_dip_of_a_minute_is_not_an_empty_battery_and_five_minutes_are() -> None:
    assert _live(AGM, [{}, {"house_voltage_v": 10.6}, {}, {}]) == []
    assert _live(AGM, [{}] + [{"house_voltage_v": 10.9}] * 5)[0][1:] == ("raised", "house_under_voltage")


def test_noise_of_20_mv_about_the_limit_gives_one_alert() -> None:
    """ISA-18.2 chattering (public summary): the deadband must be wider than the noise."""
    said = _live(AGM, [{"house_voltage_v": 11.0 + (0.02 if k % 2 else -0.02)} for k in range(300)])
    assert [what for _, what, _ in said] == ["raised"]


def test_in_the_cold_lead_acid_may_be_charged_with_more_voltage() -> None:
    """3 to 5 mV per kelvin and cell, IEEE 1188 practice (from memory): 15.3 V is too much at 25 °C and right at 10 °C."""
    assert _live(AGM, [{"house_voltage_v": 15.3, "house_temperature_c": 25.0}] * 5)[0][2] == "house_over_voltage"
    assert _live(AGM, [{"house_voltage_v": 15.3, "house_temperature_c": 10.0}] * 5) == []


def test_lithium_ends_earlier() -> None:
    assert _live(LFP, [{"house_voltage_v": 14.95}] * 5)[0][2] == "house_over_voltage"


@pytest.mark.parametrize(("house", "bearable_v", "too_much_v"), [("agm", 14.95, 15.3), ("gel", 14.95, 15.3), ("lfp", 14.9, 15.1)])
def test_what_an_alternator_under_engine_control_gives_through_the_isolator_is_no_fault_and_what_it_never_gives_is(
        house: str, bearable_v: float, too_much_v: float) -> None:
    """12.2 to 15.0 V while driving, the most while braking (from memory): a gel battery is then above what a charger may hold."""
    vehicle = replace(AGM, house=Battery("house", house, 100))
    driving = JoinFindings("closed", "running")

    def raised(volts: float, join: JoinFindings, after: JoinFindings | None = None) -> list[str]:
        minutes = [{"house_voltage_v": volts, "starter_voltage_v": volts + 0.1, "house_temperature_c": 30.0}] * 10
        return [kind for _, _, kind in _live(vehicle, minutes, join=lambda k: after if after and k > 4 else join)]

    assert raised(bearable_v, driving) == []
    assert raised(bearable_v, driving, after=JoinFindings("open", "off")) == [], "lithium stays there for minutes"
    assert raised(bearable_v, JoinFindings("open", "running")) == ["house_over_voltage"], "then a charger of its own does it"
    assert raised(bearable_v, JoinFindings("open", "off")) == ["house_over_voltage"]
    assert raised(too_much_v, driving) == ["house_over_voltage"]


def test_a_charger_of_the_house_battery_is_not_excused_by_a_running_engine() -> None:
    """Joined, the charger's side has the higher voltage: 14.95 V there and 14.9 V at the starter battery come from the charger."""
    pushed = [{"house_voltage_v": 14.95, "starter_voltage_v": 14.9}] * 5
    assert [k for _, _, k in _live(LFP, pushed, join=lambda k: JoinFindings("closed", "running"))] == ["house_over_voltage"]


def test_a_charger_with_a_higher_voltage_by_its_label_is_no_fault_but_what_no_regulator_should_reach_is() -> None:
    labelled = replace(AGM, house=replace(AGM.house, absorption_v=14.8))
    assert _live(labelled, [{"house_voltage_v": 14.85, "house_temperature_c": 25.0}] * 5 * 60) == []
    assert _live(AGM, [{"house_voltage_v": 14.85, "house_temperature_c": 25.0}] * 5 * 60)[0][2] == "house_overcharged"
    assert _live(labelled, [{"house_voltage_v": 15.2, "house_temperature_c": 25.0}] * 5)[0][2] == "house_over_voltage"


def test_equalising_is_allowed_for_hours_when_the_owner_says_so() -> None:
    flooded = replace(AGM, house=Battery("house", "flooded", 100))
    announced = replace(AGM, house=Battery("house", "flooded", 100, equalise_v=15.6))
    high = {"house_voltage_v": 15.6, "house_temperature_c": 25.0}
    assert _live(flooded, [high] * 5)[0][2] == "house_over_voltage"
    assert _live(announced, [high] * 4 * 60) == []
    assert [kind for _, _, kind in _live(announced, [high] * 12 * 60)] == ["house_overcharged"]
    assert _live(announced, [high | {"house_voltage_v": 16.4}] * 5)[0][2] == "house_over_voltage"


def test_heat_lowers_what_may_be_held_for_hours() -> None:
    """An uncompensated 14.6 V is right for AGM at 25 °C and too much for hours at 43 °C."""
    assert _live(AGM, [{"house_voltage_v": 14.6, "house_temperature_c": 25.0}] * 300) == []
    assert [k for _, _, k in _live(AGM, [{"house_voltage_v": 14.6, "house_temperature_c": 43.0}] * 300)] == ["house_overcharged"]


@pytest.mark.parametrize("lost", [False, True])
def test_the_airs_thermometer_says_how_much_a_charger_may_give_with_the_hours_that_a_battery_lags(lost: bool) -> None:
    """-0.03 V/K: at -15 °C a sound charger gives a flooded battery 16.0 V. An hour without a reading forgets neither air nor frost."""
    flooded = replace(AGM, house=Battery("house", "flooded", 100))
    night = [{"ambient_temperature_c": -15.0, "house_voltage_v": 13.0}] * 5
    gap = [{"house_voltage_v": 16.05}] * (60 if lost else 0)
    assert _live(flooded, night + gap + [{"ambient_temperature_c": -15.0, "house_voltage_v": 16.05}] * 300) == []
    morning = [{"ambient_temperature_c": 8.0, "house_voltage_v": 15.45}] * 300     # the air has warmed, the battery not yet
    assert _live(flooded, morning) == []


def test_a_limit_for_minutes_gives_the_air_the_same_hours() -> None:
    """The air has warmed up to 10 °C, the battery not yet: 0.05 V above its limit at 10 °C is a fault by its own thermometer only."""
    volts = over_voltage_v(AGM.house, 10.0) + 0.05
    assert _live(AGM, [{"house_voltage_v": volts, "house_temperature_c": 10.0}] * 5)[0][2] == "house_over_voltage"
    assert _live(AGM, [{"house_voltage_v": volts, "ambient_temperature_c": 10.0}] * 5) == []
    assert _live(AGM, [{"house_voltage_v": volts + 0.1, "ambient_temperature_c": 10.0}] * 5)[0][2] == "house_over_voltage"


def test_without_a_thermometer_too_much_voltage_is_said_with_its_doubt() -> None:
    """-0.03 V a kelvin from 25 °C: at -16 °C a sound charger gives a gel battery 15.6 V, and nobody has measured how cold it is."""
    gel = Vehicle(Battery("house", "gel", 100.0), AGM.starter)

    def told(temperature_c: float | None) -> str:
        held = house_alerts.begin()
        held = house_alerts.update(held, Minute(0.0, 60.0, (), house_voltage_v=15.6, house_temperature_c=temperature_c), gel, _charge(None),
                                   JoinFindings())
        return next(c for c in house_alerts.conditions(held, gel) if c.kind == "house_over_voltage").evidence

    assert "if it is colder than freezing" in told(None) and told(20.0) == ""


def test_lithium_charged_below_freezing_is_said_and_lead_acid_is_not() -> None:
    cold = [{"house_current_a": 10.0, "house_temperature_c": -4.0}] * 10
    assert _live(LFP, cold)[0][2] == "cold_charging"
    assert _live(AGM, cold) == []
    assert _live(LFP, [{"house_current_a": 1.0, "house_temperature_c": -4.0}] * 10) == [], "a trickle is no charge"


def test_a_sensor_on_the_case_is_given_two_kelvin_and_fast_charging_five() -> None:
    assert _live(LFP, [{"house_current_a": 5.0, "house_temperature_c": 1.0}] * 10)[0][2] == "cold_charging"
    assert _live(LFP, [{"house_current_a": 20.0, "house_temperature_c": 4.0}] * 10)[0][2] == "cold_charging"
    assert _live(LFP, [{"house_current_a": 5.0, "house_temperature_c": 4.0}] * 10) == []
    assert _live(LFP, [{"house_current_a": 20.0, "house_temperature_c": 6.0}] * 10) == []


def test_without_a_thermometer_the_air_is_taken_and_that_is_said() -> None:
    limits, minute = limit_alerts.begin(), Minute(0.0, 60.0, (), house_voltage_v=13.4, house_current_a=9.0, ambient_temperature_c=-3.0)
    limits = limit_alerts.update(limits, minute, LFP, _charge(0.5))
    (cold,) = [c for c in limit_alerts.conditions(limits, LFP) if c.kind == "cold_charging"]
    assert cold.active and "hangs in the air" in cold.evidence


def test_a_silent_sensor_keeps_the_verdict() -> None:
    said = _live(AGM, [{"house_voltage_v": 10.5}] * 5 + [{"house_voltage_v": None}] * 30)
    assert [what for _, what, _ in said] == ["raised"]
