"""What a faulty instrument spoils is held back and says so; what does not rest on it speaks as before."""
import ast
from collections.abc import Iterator
from dataclasses import fields, replace

import pytest

from drivers.vehicle import Ordered, Plan, VehicleSim
from drivers.vehicle.scenarios import late_summer_coast, lithium_valley
from monitor import dependence, pipeline
from monitor.alerts import rules
from monitor.battery.label import Battery, Vehicle
from monitor.detection.wiring.bypass import Bypass
from monitor.findings import Condition, Estimate, EvidenceLine, NotYet, ProtectionFindings
from monitor.reporting import sentences
from monitor.sample import Minute, Sample
from monitor.sampling.gather import minutes
from tests.benchmarks.ensemble import owner
from tests.docs_text import DOCS

DAY_S = 86400.0
FIGURES = [f.name for f in fields(pipeline.Findings)]


def _raised(plan: Plan, days: float, step_s: float = 60.0) -> tuple[pipeline.Findings, dict[str, tuple[float, str]]]:
    """The last findings, and kind -> (second, meaning) of every alert raised."""
    vehicle, sim = owner(plan), VehicleSim(plan)

    def seen() -> Iterator[Sample]:
        while sim.at_s < days * DAY_S - 1.0:
            sim.step(step_s)
            yield Sample(sim.at_s, hour=sim.at_s / 3600.0 % 24.0, **sim.reading().values)

    states, alerts, raised = pipeline.begin(vehicle), rules.begin(), {}
    for minute in minutes(seen()):
        states, found = pipeline.step(states, minute, vehicle)
        alerts = rules.update(alerts, found.conditions, found.at_s)
        for change in alerts.news:
            if change.what == "raised":
                raised.setdefault(change.alert.kind, (change.at_s, change.alert.means))
    return found, raised


@pytest.mark.slow
@pytest.mark.parametrize("plan", [late_summer_coast(3), late_summer_coast(8), lithium_valley(4)], ids=lambda p: f"{p.name} {p.seed}")
def test_a_reversed_shunt_is_one_alert_and_no_figure_that_rests_on_it(plan: Plan) -> None:
    found, raised = _raised(replace(plan, faults=(Ordered("shunt_reversed", 0.0),)), 4.0)
    assert raised.keys() == {"shunt_reversed"}
    assert "nothing is said of the charge, what came in and went out" in raised["shunt_reversed"][1]
    for group in (found.charge, found.health, found.loads, found.loads.shares, found.join):
        assert not [f.name for f in fields(group) if isinstance(getattr(group, f.name), Estimate)]
    assert isinstance(found.charge.charge_frac, NotYet) and "shunt" in found.charge.charge_frac.because
    assert found.forecast.probability_before_sun is None and not found.forecast.levers and found.health.verdict == "not enough evidence"
    said = " ".join(sentences.summary(found.charge, found.forecast, found.starter, found.join, found.counts))
    assert "from the sun" not in said and said.count("the shunt counts the wrong way round") >= 2
    assert found.counts.total.spent_ah > 0, "the count itself goes on"


@pytest.mark.slow
def test_a_wrong_starter_divider_leaves_the_house_battery_alone() -> None:
    found, raised = _raised(replace(late_summer_coast(3), faults=(Ordered("divider_wrong", 0.0, amount=0.8),)), 2.5)
    assert "starter_divider_wrong" in raised
    late = {kind for kind, (at_s, _) in raised.items() if at_s > raised["starter_divider_wrong"][0]}
    assert not {kind for kind in late if kind.startswith("starter_") or kind == "will_not_start"}
    assert isinstance(found.charge.charge_frac, Estimate) and not isinstance(found.starter.rest_voltage_v, Estimate)


@pytest.mark.slow
def test_a_sound_vehicle_loses_nothing() -> None:
    found, _ = _raised(late_summer_coast(3), 2.0, 120.0)
    assert isinstance(found.charge.charge_frac, Estimate) and found.counts.because == ""


def _said(*kinds: str) -> tuple[Condition, ...]:
    return tuple(Condition(kind, "house", True, "high", f"{kind}.", "So it is.") for kind in kinds)


def test_the_alert_that_is_held_back_goes_on_where_the_instrument_is_mended() -> None:
    held = dependence.hold_back_alerts(_said("shunt_reversed", "isolator_stuck_open", "starter_low"))
    assert [c.kind for c in held if c.active] == ["shunt_reversed", "starter_low"]
    assert [c.kind for c in dependence.hold_back_alerts(_said("isolator_stuck_open", "starter_low")) if c.active] == [
        "isolator_stuck_open", "starter_low"]


def test_a_fault_that_rests_on_a_worse_one_holds_nothing_back() -> None:
    held = dependence.hold_back_alerts(_said("house_divider_wrong", "shunt_reversed", "house_over_voltage"))
    assert [c.kind for c in held if c.active] == ["shunt_reversed", "house_over_voltage"]


def test_what_is_only_likely_makes_wait_what_it_imitates_and_not_what_warns_of_danger() -> None:
    held = dependence.hold_back_alerts(_said("isolator_stuck_open", "house_under_voltage", "cold_charging"), likely_reversed=True)
    assert [c.kind for c in held if c.active] == ["house_under_voltage", "cold_charging"]


@pytest.mark.parametrize(("backwards", "waits"), [(0.0, False), (1.0, False), (2.0, True), (7.0, True)])
def test_a_bypass_waits_once_two_load_steps_more_than_not_point_to_a_reversed_shunt(backwards: float, waits: bool) -> None:
    vehicle = Vehicle(Battery("house", "agm", 100.0), Battery("starter", "flooded", 70.0))
    states = pipeline.begin(vehicle)
    states = replace(states, charge=replace(states.charge, suspicion=replace(states.charge.suspicion, backwards=backwards)),
                     plausibility=replace(states.plausibility, bypass=Bypass(pairs=20.0, pairs_at_s=0.0, pair_v=0.05)))
    _, found = pipeline.step(states, Minute(0.0, 60.0, (Sample(60.0, 12.7, -1.0, 12.7),), house_voltage_v=12.7, house_current_a=-1.0,
                                            covered_s=60.0), vehicle)
    assert [c.kind for c in found.conditions if c.active] == ([] if waits else ["shunt_bypassed"])


#: Instrument's fault -> alerts that must wait for it; written down by what each is measured with, not from the table in use.
WAITS = {
    "shunt_reversed": "house_reserve_forecast house_low house_runaway house_freeze_risk house_never_full cold_charging protection_tripped "
                      "shunt_bypassed house_divider_wrong battery_swapped battery_type_doubtful battery_worn battery_watch "
                      "fridge_working_harder isolator_stuck_closed isolator_stuck_open isolator_intermittent path_resistance_grown",
    "house_divider_wrong": "house_reserve_forecast house_low house_under_voltage house_over_voltage house_overcharged house_runaway "
                           "house_freeze_risk house_deep_discharge house_never_full shunt_bypassed battery_swapped "
                           "battery_type_doubtful battery_worn battery_watch isolator_stuck_closed isolator_stuck_open "
                           "isolator_intermittent path_resistance_grown will_not_start",
    "starter_divider_wrong": "starter_drain starter_low starter_freeze_risk starter_part_charged starter_over_voltage "
                             "starter_under_voltage alternator_not_charging crank_weak start_failed will_not_start "
                             "isolator_stuck_closed isolator_stuck_open isolator_intermittent path_resistance_grown",
    "protection_tripped": "house_under_voltage house_overcharged house_deep_discharge shunt_bypassed house_divider_wrong battery_swapped "
                          "battery_type_doubtful isolator_stuck_open isolator_intermittent path_resistance_grown",
    "sensor_noisy": "shunt_bypassed house_divider_wrong battery_swapped battery_type_doubtful path_resistance_grown "
                    "protection_tripped fridge_working_harder",
    "channel_at_limit": "shunt_bypassed battery_swapped battery_type_doubtful battery_worn battery_watch fridge_working_harder",
    "shunt_bypassed": "battery_swapped battery_type_doubtful battery_worn battery_watch fridge_working_harder",
    "temperature_sensor_loose": "battery_worn battery_watch",
}
#: What warns of danger and is measured with something else than the faulty instrument is heard whatever is broken.
ALWAYS = ("house_too_hot",)


@pytest.mark.parametrize("alert", sorted({*dependence.ALERTS, *dependence.INDEPENDENT}))
@pytest.mark.parametrize("fault", WAITS)
def test_each_fault_of_an_instrument_against_each_alert(fault: str, alert: str) -> None:
    """One alert at a time beside one fault: it waits where it rests on the fault, speaks where it does not, and the fault says so."""
    if alert == fault:
        return
    held = {c.kind: c for c in dependence.hold_back_alerts(_said(fault, alert))}
    if alert in WAITS and fault in WAITS[alert].split():
        assert held[alert].active and not held[fault].active    # the other one is the worse fault
        return
    assert held[fault].active
    assert held[alert].active is (alert not in WAITS[fault].split())
    assert alert not in ALWAYS or held[alert].active
    if not held[alert].active and fault != "protection_tripped":
        assert "wait" in held[fault].means


@pytest.mark.slow
def test_a_noisy_voltmeter_read_once_a_minute_is_one_alert() -> None:
    """0.15 V of noise from the second day on: no bypassed shunt besides."""
    plan = replace(late_summer_coast(3), faults=(Ordered("house_voltage_noisy", 0.8 * DAY_S, amount=0.15),))
    assert _raised(plan, 2.0)[1].keys() == {"sensor_noisy"}


def _found(*conditions: Condition) -> pipeline.Findings:
    """Findings of a sound vehicle with every group filled by hand, and these conditions."""
    vehicle = owner(late_summer_coast(3))
    states, found = pipeline.begin(vehicle), None
    for minute in minutes(Sample(60.0 * k, 12.7, -1.0, 12.7, 20.0) for k in range(1, 5)):
        states, found = pipeline.step(states, minute, vehicle)
    some = Estimate(1.0, 0.9, 1.1, "measured")
    line = EvidenceLine("for", "resistance is 1.0 to 1.1 times that of its first weeks", "a later rise", "resistance")
    return replace(found, conditions=conditions, charge=replace(found.charge, charge_frac=some),
                   forecast=replace(found.forecast, probability_before_sun=0.2),
                   health=replace(found.health, verdict="healthy", lines=(line,), capacity_frac=some, resistance_ohm=some,
                                  resistance_growth_ratio=some, heat_ratio=(0.9, 1.1)))


@pytest.mark.parametrize(("kind", "why"), [("shunt_bypassed", "past the shunt"), ("channel_at_limit", "end of its range")])
def test_figures_that_rest_on_a_count_that_runs_short_are_hidden_and_its_alerts_are_not(kind: str, why: str) -> None:
    found = dependence.hold_back(_found(*_said(kind, "house_low", "house_under_voltage")))
    assert isinstance(found.charge.charge_frac, NotYet) and why in found.charge.charge_frac.because
    assert found.forecast.probability_before_sun is None and why in found.forecast.because
    assert found.health.verdict == "not enough evidence" and why in found.counts.because
    assert [c.kind for c in found.conditions if c.active] == [kind, "house_low", "house_under_voltage"]
    assert "Until it is mended nothing is said of the charge, what came in and went out" in found.conditions[0].means
    said = " ".join(sentences.summary(found.charge, found.forecast, found.starter, found.join, found.counts))
    assert why in said


def test_a_constant_bypass_that_the_charge_estimate_has_learnt_hides_the_bare_count_only() -> None:
    booked = replace(_said("shunt_bypassed")[0], figures=(("booked_ratio", 1.0),))
    found = dependence.hold_back(_found(booked))
    assert isinstance(found.charge.charge_frac, Estimate) and found.forecast.probability_before_sun == 0.2
    assert found.health.verdict == "healthy" and "past the shunt" in found.counts.because
    assert "nothing is said of what came in and went out and who took the charge" in found.conditions[0].means


def test_a_loose_thermometer_hides_what_is_brought_to_25_degrees() -> None:
    found = dependence.hold_back(_found(*_said("temperature_sensor_loose", "house_too_hot")))
    health = found.health
    assert health.heat_ratio is None and "not on the battery" in health.heat_because
    assert isinstance(health.resistance_growth_ratio, NotYet) and isinstance(health.resistance_ohm, NotYet)
    assert isinstance(health.capacity_frac, Estimate) and not health.lines and health.verdict == "not enough evidence"
    assert isinstance(found.charge.charge_frac, Estimate)
    assert [c.kind for c in found.conditions if c.active] == ["temperature_sensor_loose", "house_too_hot"]


def test_figures_come_back_when_it_is_mended() -> None:
    found = _found(*(replace(c, active=False) for c in _said(*dependence.HIDES)))
    assert dependence.hold_back(found) == found


def test_heat_is_never_held_back() -> None:
    kinds = ("shunt_reversed", "house_divider_wrong", "starter_divider_wrong", "temperature_sensor_loose", "protection_tripped",
             "house_too_hot")
    assert "house_too_hot" in {c.kind for c in dependence.hold_back_alerts(_said(*kinds)) if c.active}


def test_a_battery_that_switched_itself_off_is_no_lost_sensor() -> None:
    lost = _said("sensor_lost")
    assert dependence.hold_back_lost(lost, ProtectionFindings("")) == lost
    assert not dependence.hold_back_lost(lost, ProtectionFindings("discharge", 0.0))[0].active


def test_every_alert_of_the_trackers_and_every_group_of_figures_is_declared() -> None:
    """A new alert has to say what it rests on."""
    states, kinds = pipeline.begin(owner(lithium_valley(4))), set()
    for minute in minutes(Sample(60.0 * k, 13.2, -1.0, 12.7, 20.0) for k in range(1, 4)):
        states, found = pipeline.step(states, minute, owner(lithium_valley(4)))
        kinds |= {c.kind for c in found.conditions}
    for path in (DOCS.parent / "monitor").rglob("*.py"):
        if {"detection", "estimation", "wear", "usage", "forecast"} & set(path.parts) and "Condition(" in (text := path.read_text()):
            kinds |= {node.args[0].value for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Call)
                      and getattr(node.func, "id", "") == "Condition" and node.args and isinstance(node.args[0], ast.Constant)}
    assert len(kinds) > 25
    assert not sorted(kinds - set(dependence.ALERTS) - set(dependence.INDEPENDENT))
    assert not sorted((set(dependence.ALERTS) | set(dependence.INDEPENDENT)) - kinds - {"house_reserve_forecast"})
    assert set(dependence.FIGURES) <= set(FIGURES) and set(dependence.FIGURES) - {"named"} == set(dependence.CALLED)
