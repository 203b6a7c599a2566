"""Wiring that contradicts itself: each kind named in words from the simulated vehicle's log, and nothing in health.

The vehicle shares no formula with the trackers; the recorded drives were made by other models still
(tests/recordings/README.md).
"""
from collections.abc import Iterator
from dataclasses import replace
from math import exp, inf
from random import Random

import pytest

from drivers.vehicle import Ordered, Plan, VehicleSim
from drivers.vehicle.scenarios import late_summer_coast, lithium_valley
from monitor import pipeline
from monitor.battery.label import Battery, Vehicle
from monitor.config import load
from monitor.detection.wiring import bypass, plausibility
from monitor.detection.wiring.channel_state import Limit, Noise, grow_noise, is_noisy, update_limit
from monitor.detection.wiring.sunny_sensor import TemperatureSwings, is_loose
from monitor.detection.wiring.sunny_sensor import update as swings
from monitor.detection.wiring.voltage_level import (
    VoltageLevel,
    find_mistake,
    house,
    house_factor,
    starter,
    starter_factor,
)
from monitor.findings import ChargeFindings, Estimate, NotYet
from monitor.process.replay import samples
from monitor.sample import Minute, Sample
from monitor.sampling.gather import minutes
from monitor.store import saving
from tests.benchmarks.ensemble import owner
from tests.reference import BEST_SIMPLE_RMSE_PCT, RECORDINGS, vehicle_toml

DAY_S, HOUR_S = 86400.0, 3600.0
COAST, VALLEY = late_summer_coast(3), lithium_valley(4)
COAST_OWNER = owner(COAST)
WAIT = NotYet("nothing was counted here")
NOTHING = ChargeFindings(WAIT, WAIT, WAIT, WAIT, WAIT, WAIT)


def life(plan: Plan, days: float, step_s: float = 30.0) -> Iterator[Minute]:
    """The minutes of a plan's first days as the instruments saw them."""
    sim = VehicleSim(plan)

    def seen() -> Iterator[Sample]:
        while sim.at_s < days * DAY_S - 1.0:
            sim.step(step_s)
            yield Sample(sim.at_s, hour=(plan.start_hour + sim.at_s / HOUR_S) % 24.0, **sim.reading().values)

    return minutes(seen())


def named(stream: Iterator[Minute], vehicle: Vehicle) -> dict[str, tuple[float, str]]:
    """Kind -> when it was first found [s], and the words, by this tracker alone."""
    held, found = plausibility.begin(), {}
    for minute in stream:
        held = plausibility.update(held, minute, vehicle)
        for condition in plausibility.conditions(held, vehicle, NOTHING):
            if condition.active:
                found.setdefault(condition.kind, (minute.end_s, f"{condition.seen} {condition.evidence} {condition.means}"))
    return found


@pytest.mark.parametrize(("plan", "fault", "kind", "words", "within_s"), [
    (COAST, Ordered("fridge_unseen", 0.0, amount=1.0), "shunt_bypassed", "the shunt showed nothing of it", DAY_S),
    (VALLEY, Ordered("fridge_unseen", 0.0, amount=1.0), "shunt_bypassed", "the shunt showed nothing of it", DAY_S),
    (COAST, Ordered("load_unseen", 0.0, amount=3.0), "shunt_bypassed", "at a voltage at which nothing charges", DAY_S),
    (COAST, Ordered("house_divider_wrong", 0.0, amount=0.8), "house_divider_wrong", "1.25 times too low", DAY_S),
    (VALLEY, Ordered("house_divider_wrong", 0.0, amount=0.8), "house_divider_wrong", "5:1 set as 4:1", DAY_S),
    (COAST, Ordered("house_divider_wrong", 0.0, amount=1.25), "house_divider_wrong", "4:1 set as 5:1", DAY_S),
    (COAST, Ordered("divider_wrong", 0.0, amount=0.8), "starter_divider_wrong", "5:1 set as 4:1", DAY_S),
    (VALLEY, Ordered("divider_wrong", 0.0, amount=1.25), "starter_divider_wrong", "4:1 set as 5:1", DAY_S),
    (COAST, Ordered("current_saturated", 0.0, amount=6.0), "channel_at_limit", "stops at exactly", 2 * DAY_S),
    (COAST, Ordered("sun_on_sensor", 0.0, amount=18.0), "temperature_sensor_loose", "while the sun shines", 2 * DAY_S),
    (COAST, Ordered("house_voltage_noisy", 1.2 * DAY_S, amount=0.08), "sensor_noisy", "scattered by", 2.2 * DAY_S),
    (COAST, Ordered("current_noisy", 1.2 * DAY_S, amount=1.5), "sensor_noisy", "scattered by", 2.2 * DAY_S),
], ids=lambda p: p.name if isinstance(p, Plan) else f"{p.kind} {p.amount:g}" if isinstance(p, Ordered) else "")
def test_a_fault_is_named_in_words_in_time_and_nothing_else_is_claimed(
    plan: Plan, fault: Ordered, kind: str, words: str, within_s: float,
) -> None:
    found = named(life(replace(plan, faults=(fault,)), within_s / DAY_S), owner(plan))
    assert set(found) == {kind}
    assert words in found[kind][1]


@pytest.mark.slow
@pytest.mark.parametrize("plan", [COAST, VALLEY], ids=lambda p: p.name)
def test_a_reversed_shunt_is_named_within_a_day_and_is_not_taken_for_a_bypass(plan: Plan) -> None:
    vehicle, found = owner(plan), set()
    held = pipeline.begin(vehicle)
    for minute in life(replace(plan, faults=(Ordered("shunt_reversed", 0.0),)), 1.0, 60.0):
        held, now = pipeline.step(held, minute, vehicle)
        found |= {c.kind for c in now.conditions if c.active}
    assert "shunt_reversed" in found
    assert not found & {"shunt_bypassed", "house_divider_wrong", "starter_divider_wrong", "channel_at_limit"}


@pytest.mark.parametrize("plan", [COAST, VALLEY, late_summer_coast(8)], ids=lambda p: f"{p.name} {p.seed}")
def test_a_healthy_vehicle_raises_none(plan: Plan) -> None:
    assert named(life(plan, 5.0, 60.0), owner(plan)) == {}


@pytest.mark.parametrize("name", sorted(BEST_SIMPLE_RMSE_PCT))
def test_recorded_drives_raise_none(name: str, tmp_path) -> None:
    """Worn, flat, stuck and drained batteries among them: none of it is the wiring's fault. Half-years: their first ten days."""
    (tmp_path / "van.toml").write_text(vehicle_toml(RECORDINGS / name))
    stream = (m for m in minutes(_days(name)))
    assert named(stream, load.load(tmp_path / "van.toml", need_sources=False).vehicle) == {}


def _days(name: str) -> Iterator[Sample]:
    for sample in samples(RECORDINGS / name / "readings.csv.gz", None, 100.0):
        if sample.at_s > 10 * DAY_S:
            return
        yield sample


def test_a_count_that_never_closes_is_a_bypass_or_a_zero_that_is_off() -> None:
    vehicle = owner(COAST)
    held = plausibility.begin()
    unseen = replace(NOTHING, current_offset_a=Estimate(0.6, 0.4, 0.8, "learnt"))
    (first, *_) = plausibility.conditions(held, vehicle, unseen)
    assert first.active and "0.60 A more flow out" in first.evidence and "zero is wrong" in first.seen
    assert not any(c.active for c in plausibility.conditions(held, vehicle, unseen, reversed_shunt=True))
    known = replace(vehicle, current_sensor=replace(vehicle.current_sensor, offset_a=0.55))
    assert not any(c.active for c in plausibility.conditions(held, known, unseen))


@pytest.mark.parametrize(("factor", "right", "words"), [
    (1.24, 1.25, "5:1 set as 4:1"), (0.81, 0.8, "4:1 set as 5:1"), (1.97, 2.0, "2:1 set as 1:1"), (0.735, 0.735, "")])
def test_a_factor_is_told_as_the_dividers_that_are_taken_for_each_other(factor: float, right: float, words: str) -> None:
    told, said = find_mistake(factor)
    assert told == pytest.approx(right, abs=0.02)
    if words:
        assert said == words


AGM = Battery("house", "agm", 100.0)


def test_an_empty_battery_is_no_wrong_divider() -> None:
    """It gives a few ampere-hours down there, and charging lifts it at once; or it lies dead without moving any."""
    held = VoltageLevel()
    for _ in range(5):
        for volts, amps in ((11.2, -2.0), (10.9, -2.0), (10.6, -1.0), (12.3, 4.0), (12.0, -0.5)):
            held = house(held, volts, amps, 1.0, AGM)
    for _ in range(200):
        held = house(held, 10.2, -0.02, 1.0, AGM)
    assert house_factor(held, AGM) is None


def test_a_dead_starter_battery_that_is_charged_is_no_wrong_divider() -> None:
    held = VoltageLevel()
    for volts in (10.4, 10.4, 12.9, 13.6, 14.2, 14.2, 12.4, 12.4, 14.3):
        held = starter(held, volts, volts - 0.01, volts + 0.01)
    assert starter_factor(held) is None


def test_a_charger_that_holds_its_voltage_is_no_channel_at_its_limit() -> None:
    held = update_limit(Limit(), 0.0, 60.0, 12.2, 14.4, 20.0, "v")
    for k in range(600):
        held = update_limit(held, 30_000.0 + 60.0 * k, 60.0, 14.4, 14.4, 20.0 - k / 40, "v")
    assert held.stuck_s == 0.0


def test_a_channel_that_goes_further_was_not_at_its_limit() -> None:
    held = update_limit(Limit(), 0.0, 60.0, -9.0, 6.0, 12.5, "a")
    for k in range(20):
        held = update_limit(held, 30_000.0 + 60.0 * k, 60.0, 6.0, 6.0, 12.5 + 0.05 * (k % 2), "a")
    assert held.stuck_s >= 900.0
    assert update_limit(held, 40_000.0, 60.0, 2.0, 7.5, 12.5, "a").stuck_s == 0.0


def test_a_temperature_after_a_gap_is_no_swing() -> None:
    held = TemperatureSwings()
    for day in range(8):
        held = swings(held, day * 7200.0, 10.0 + 12.0 * (day % 2), False)
    assert not is_loose(held, 8 * 7200.0)
    for k in range(40):
        held = swings(held, 1e5 + 600.0 * k, 15.0 + 12.0 * (k // 8 % 2), True)
    assert is_loose(held, 1e5 + 24_000.0)


def test_noise_that_the_companion_explains_is_life() -> None:
    """A heater that pulses all night moves both."""
    held = Noise()
    for _ in range(6 * 24):
        held = is_noisy(held, 0.01, 0.0, "a")
    for _ in range(6 * 12):
        held = is_noisy(held, 2.0, 0.9, "a")
    assert not grow_noise(held)
    for _ in range(6 * 6):
        held = is_noisy(held, 2.0, 0.01, "a")
    assert grow_noise(held)


@pytest.mark.parametrize("resistance", [None, Estimate(0.0011, 0.0009, 0.0013, "measured")], ids=["unknown", "learnt"])
@pytest.mark.parametrize("from_h", [13, 20])
def test_a_pulsing_load_on_a_pack_of_one_milliohm_is_no_noise(resistance, from_h) -> None:
    """An inverter's load pulses for half a day: 5 A of scatter are 5 mV, little more than the voltmeter's own."""
    battery, r, held = Vehicle(Battery("house", "lfp", 280.0), Battery("starter", "agm", 70.0)), Random(4), plausibility.begin()

    def seen() -> Iterator[Sample]:
        for k in range(1, 36 * 360):
            amps = -8.0 + r.gauss(0.0, 0.02 if k < from_h * 360 else 5.0)
            yield Sample(10.0 * k, round((13.25 + 0.001 * amps + r.gauss(0.0, 0.0015)) / 0.00125) * 0.00125, round(amps, 2))

    for minute in minutes(seen()):
        held = plausibility.update(held, minute, battery, NOTHING if resistance is None else replace(NOTHING, resistance_ohm=resistance))
        assert not any(c.active for c in plausibility.conditions(held, battery, NOTHING))


@pytest.mark.parametrize("wrong", ["current", "voltage"])
def test_noise_on_a_stiff_pack_is_still_found_where_it_can_be_told(wrong) -> None:
    """A current that scatters by 30 A would move a pack of one milliohm by 30 mV; 80 mV of its voltage are 80 A."""
    battery, r, held = Vehicle(Battery("house", "lfp", 280.0), Battery("starter", "agm", 70.0)), Random(5), plausibility.begin()

    def seen() -> Iterator[Sample]:
        for k in range(1, 36 * 360):
            late = k >= 14 * 360
            yield Sample(10.0 * k, 13.242 + r.gauss(0.0, 0.08 if late and wrong == "voltage" else 0.0015),
                         -8.0 + r.gauss(0.0, 30.0 if late and wrong == "current" else 0.02))

    for minute in minutes(seen()):
        held = plausibility.update(held, minute, battery, replace(
            NOTHING, resistance_ohm=Estimate(0.0011, 0.0009, 0.0013, "measured")))
    assert [c.kind for c in plausibility.conditions(held, battery, NOTHING) if c.active] == ["sensor_noisy"]


def steady(amps: float, start_s: float, hours: float) -> Iterator[tuple[float, float, float]]:
    """A test load or a charger that holds its current exactly: the voltage settles, creeps, and runs through its knee."""
    for k in range(int(hours * 60)):
        h = k / 60.0
        volts = 12.7 + 0.1 * amps / 10.0 * (1.6 - exp(-h * 8)) + 0.05 * amps / 10.0 * h + 0.9 * amps / 10.0 * exp((h - hours) * 3.0)
        yield start_s + 60.0 * k, volts, amps


@pytest.mark.parametrize("amps", [-10.0, 10.0])
def test_a_constant_load_or_charger_is_no_channel_at_its_limit(amps: float) -> None:
    held = update_limit(Limit(), 0.0, 60.0, -10.0, 10.0, 12.7, "a")
    for day in range(3):
        for at_s, volts, current in steady(amps, 30_000.0 + 86_400.0 * day, 8.0):
            held = update_limit(held, at_s, 60.0, current, current, volts, "a")
        held = update_limit(held, at_s + 60.0, 60.0, -0.3, 0.2, 12.6, "a")
    assert held.stuck_s == 0.0


def test_what_is_held_comes_back_bit_for_bit_and_a_gap_ends_every_run() -> None:
    plan, vehicle = replace(COAST, faults=(Ordered("fridge_unseen", 0.0, amount=1.0),)), owner(COAST)
    held = plausibility.begin()
    for minute in life(plan, 0.3, 60.0):
        held = plausibility.update(held, minute, vehicle)
    assert saving.from_text(plausibility.PlausibilityState, saving.to_text(held)) == held
    after = plausibility.update(held, Minute(held.at_s, held.at_s + 60.0, (), gap_s=60.0), vehicle)
    assert after.ring == () and after.bypass.blocks == ()
    assert inf not in (after.limit_v.low, after.limit_a.low)


def test_both_batteries_high_together_is_no_wrong_divider() -> None:
    """A charger that compensates gives 15.7 V at -16 °C (14.5 V and 0.03 V a kelvin); joined, both meters say so."""
    def times(house_v: float | None) -> int:
        state = starter(VoltageLevel(), 13.6, 13.58, 13.62, house_v)
        for _ in range(4):
            state = starter(state, 15.7, 15.68, 15.72, house_v)
        return state.times

    assert times(15.6) == 0 and starter_factor(VoltageLevel()) is None
    assert times(14.2) >= 2 and times(None) >= 2


@pytest.mark.parametrize(("step_a", "pairs"), [(0.0, True), (0.05, False)])
def test_a_cold_battery_near_no_current_moves_its_voltage_by_little_current(step_a: float, pairs: bool) -> None:
    """At dawn in the frost 0.05 A of sun more lift a resting lead-acid battery by 30 mV: that is no load past the shunt."""
    held, ring = bypass.Bypass(), ()
    for k in range(8 * 60):
        cloudy = k // 30 % 2
        ring = (*ring[-10:], 12.70 - 0.03 * cloudy, 0.07 - step_a * cloudy)
        held = bypass.add_minute(held, 60.0 * k, ring, COAST_OWNER.house, 0.001, 23.0)
    assert (held.pairs >= bypass.PAIRS) is pairs


def test_a_step_that_the_starter_battery_makes_as_well_is_no_bypass() -> None:
    """Joined batteries share each other's loads: the house current may stay at nothing while both voltages step down and up."""
    def pairs(starter_step_v: float) -> float:
        held, ring, starter_ring = bypass.Bypass(), (), ()
        for k in range(8 * 60):
            loaded = k // 30 % 2
            ring = (*ring[-10:], 12.75 - 0.07 * loaded, -0.03)
            starter_ring = (*starter_ring[-5:], 12.78 - starter_step_v * loaded)
            held = bypass.add_minute(held, 60.0 * k, ring, COAST_OWNER.house, 0.002, 23.0, starter_ring)
        return held.pairs

    assert pairs(0.0) >= bypass.PAIRS and pairs(0.06) == 0.0
    assert pairs(0.010) == 0.0, "5 milliohm of starter battery behind 30 of relay and cable make a seventh of the step"


def test_a_load_past_the_shunt_is_still_said_for_some_hours_after_the_last_sign_and_noise_for_one() -> None:
    """The delay belongs to the condition that no longer holds: that is the one the alert rules ask."""
    quiet = {c.kind: c.off_delay_s for c in plausibility.conditions(plausibility.begin(), COAST_OWNER, NOTHING)}
    assert quiet["shunt_bypassed"] == 6 * HOUR_S and quiet["sensor_noisy"] == HOUR_S
