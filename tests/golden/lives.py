"""Simulated lives for the golden replays, none of them used to tune anything: each fault, each chemistry, and odd owners.

They are written out here, not drawn by the ensembles, so that a change to an ensemble moves no golden line.
"""
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from drivers.simulated import steps
from drivers.vehicle import BatteryPlan, Drive, Ordered, Plan, SensorPlan, VehicleSim
from monitor.battery.label import Battery, CurrentSensor, Vehicle
from monitor.sample import Sample

DAY_S, HOUR_S = 86400.0, 3600.0


@dataclass(frozen=True, slots=True)
class Life:
    """One life: what the owner told, and the samples the monitor would have taken."""

    about: str
    vehicle: Vehicle
    samples: Callable[[], Iterator[Sample]]
    estimates_each_h: float = 6.0
    forecasts_each_h: float = 12.0


def _drives(*at: tuple[float, float, float]) -> tuple[Drive, ...]:
    """Runs of the engine from (day, hour, minutes)."""
    return tuple(Drive(day * DAY_S + hour * HOUR_S, day * DAY_S + hour * HOUR_S + 60.0 * long, 0.9) for day, hour, long in at)


def _owner(plan: Plan, **more) -> Vehicle:
    """The labels as the owner would copy them."""
    house = Battery("house", plan.house.chemistry, plan.house.label_ah, 20.0, plan.absorption_v, plan.float_v, 0.2)
    starter = Battery("starter", plan.starter.chemistry, plan.starter.label_ah)
    return replace(Vehicle(house, starter, latitude_deg=plan.latitude_deg), **more)


def _journey(plan: Plan, step_s: float, from_s: float = 0.0) -> Iterator[Sample]:
    """Samples each step_s seconds, each 5 s around the engine's starts and stops."""
    sim = VehicleSim(plan)
    for step in steps(sim, plan.days, step_s):
        sim.step(step)
        reading = sim.reading()
        at_s = from_s + sim.at_s
        yield Sample(at_s, hour=at_s / HOUR_S % 24.0, year_day=float(plan.day_of_year + int(at_s // DAY_S)),
                     fast_starter=reading.fast_starter, **reading.values)


def _life(about: str, plan: Plan, step_s: float = 120.0, vehicle: Vehicle | None = None, **more) -> Life:
    return Life(about, vehicle or _owner(plan), lambda: _journey(plan, step_s), **more)


CAMPER = Plan(
    seed=401, days=5.0, day_of_year=152, mean_temperature_c=17.0, drives=_drives((0, 9.5, 70), (2, 15.0, 45), (4, 10.0, 80)),
    house=BatteryPlan("agm", 105.0, 0.96, 0.82), starter=BatteryPlan("flooded", 72.0, 0.95, soc_frac=0.96, resistance_factor=0.65),
    panel_w=130.0)
DAILY = _drives((0, 8.5, 60), (1, 9.0, 50), (1, 17.0, 40), (2, 10.0, 60), (3, 9.0, 45), (4, 11.0, 70))


def _faulty(kind: str, from_day: float, amount: float = 0.0, to_day: float = float("inf")) -> Ordered:
    return Ordered(kind, from_day * DAY_S, to_day * DAY_S, amount)


def _swap() -> Iterator[Sample]:
    """Four days with one battery, half a day without readings, then another and larger one under the same label."""
    before = replace(CAMPER, seed=431, days=4.0, house=BatteryPlan("agm", 80.0, 0.78, 0.7, resistance_factor=1.6))
    after = replace(CAMPER, seed=432, days=4.0, house=BatteryPlan("agm", 140.0, 1.0, 0.9, resistance_factor=0.6))
    yield from _journey(before, 120.0)
    yield from _journey(after, 120.0, from_s=4.5 * DAY_S)


def _weekends(plan: Plan) -> Iterator[Sample]:
    """Readings from Friday noon to Sunday evening only, each 5 minutes; the monitor is switched off in between."""
    sim = VehicleSim(plan)
    while sim.at_s < plan.days * DAY_S:
        watched = 4.5 <= sim.at_s / DAY_S % 7.0 < 6.9
        sim.step(300.0 if watched else 900.0)
        if watched:
            yield Sample(sim.at_s, hour=sim.at_s / HOUR_S % 24.0, year_day=float(plan.day_of_year + int(sim.at_s // DAY_S)),
                         **sim.reading().values)


def _without_clock(plan: Plan) -> Iterator[Sample]:
    for sample in _journey(plan, 120.0):
        yield replace(sample, hour=None, year_day=None)


def _season() -> Life:
    away = [day for day in range(70) if day % 7 in (4, 5, 6)]
    plan = Plan(
        seed=441, days=70.0, day_of_year=91, mean_temperature_c=15.0, home_days=tuple(d for d in range(71) if d not in away),
        house=BatteryPlan("gel", 90.0, 0.98, 0.9, capacity_end_frac=0.66, resistance_end_factor=2.1),
        drives=_drives(*[(day, 13.0 if day % 7 == 4 else 15.5, 55) for day in away if day % 7 != 5]), panel_w=60.0)
    return Life("ten weekends, gel, fades to 66 %; the monitor is off at home", _owner(plan),
                lambda: _weekends(plan), estimates_each_h=24.0, forecasts_each_h=48.0)


def lives() -> dict[str, Life]:
    """All lives by name."""
    lithium = replace(
        CAMPER, seed=421, days=7.0, charging="dc_dc", dc_dc_a=25.0, absorption_v=14.2, float_v=13.5, absorption_h=0.7,
        house=BatteryPlan("lfp", 100.0, 0.95, 0.6, own_use_a=0.012, hysteresis_v=0.055), cloud_days=((1, 3, 0.35),))
    sensors = replace(CAMPER.sensor, with_ambient=True, with_solar=True, with_ignition=True)
    return {
        "drain-agm": _life("0.18 A leaves the starter battery from the second day on; an outside thermometer", replace(
            CAMPER, seed=402, sensor=sensors, drives=CAMPER.drives[:1], faults=(_faulty("starter_drain", 1.4, 0.18),))),
        "stuck-closed-flooded": _life("relay stays joined; flooded house battery", replace(
            CAMPER, seed=403, house=BatteryPlan("flooded", 110.0, 0.94, 0.75, gassing_factor=1.3), drives=DAILY,
            faults=(_faulty("isolator_stuck_closed", 1.39),))),
        "stuck-open-gel": _life("relay no longer closes; gel house battery", replace(
            CAMPER, seed=404, house=BatteryPlan("gel", 95.0, 1.0, 0.85), drives=DAILY,
            faults=(_faulty("isolator_stuck_open", 1.9),))),
        "intermittent": _life("a contact that drops out, and from the third day on one that burns", replace(
            CAMPER, seed=405, drives=DAILY, faults=(
                _faulty("isolator_intermittent", 0.0, 0.2, 2.0), _faulty("path_resistance", 2.0, 0.03)))),
        "weak-starter": _life("a weak starter battery with fast readings of each start, then a shorted cell", replace(
            CAMPER, seed=406, drives=tuple(replace(d, crank_s=2.0) for d in DAILY), sensor=replace(sensors, fast_starter=True),
            faults=(_faulty("starter_weak", 0.0, 2.6), _faulty("starter_cell_short", 3.6, 1.9)))),
        "smart-alternator": _life("an alternator under engine control, a relay that looks at both voltages", replace(
            CAMPER, seed=407, drives=DAILY, alternator="smart", isolator_senses="both")),
        "faded-plates": _life("agm with two thirds of its plates; gaps, and no thermometer", replace(
            CAMPER, seed=408, days=8.0, house=BatteryPlan("agm", 120.0, 0.66, 0.9, "plates", resistance_factor=1.5),
            sensor=SensorPlan(gaps_per_day=0.9, with_temperature=False, current_offset_a=-0.05),
            cloud_days=((1, 4, 0.3),))),
        "frost": _life("a week at −6 °C, flooded, low sun", replace(
            CAMPER, seed=409, days=7.0, day_of_year=10, mean_temperature_c=-6.0, swing_c=8.0, panel_w=60.0,
            house=BatteryPlan("flooded", 100.0, 0.97, 0.95), drives=DAILY)),
        "sensor-troubles": _life("each sensor freezes, falls silent, is noisy or at its stop for some hours", replace(
            CAMPER, seed=410, days=6.0, sensor=sensors, faults=(
                _faulty("current_lost", 0.6, to_day=0.8), _faulty("house_voltage_lost", 1.1, to_day=1.3),
                _faulty("starter_voltage_lost", 1.6, to_day=1.8), _faulty("temperature_lost", 2.0, to_day=2.5),
                _faulty("current_frozen", 2.6, to_day=2.9), _faulty("house_voltage_frozen", 3.1, to_day=3.4),
                _faulty("starter_voltage_frozen", 3.5, to_day=3.8), _faulty("current_noisy", 4.05, 1.5, 4.3),
                _faulty("house_voltage_noisy", 4.35, 0.15, 4.6), _faulty("current_saturated", 4.65, 5.0, 5.0),
                _faulty("house_voltage_saturated", 5.05, 13.0, 5.5), _faulty("sun_on_sensor", 0.0, 14.0, 2.0)))),
        "shunt-reversed": _life("the shunt sits the wrong way round; the starter's divider reads 4 % low", replace(
            CAMPER, seed=411, faults=(_faulty("shunt_reversed", 0.0), _faulty("divider_wrong", 0.0, 0.96)))),
        "load-unseen": _life("a load and half the fridge go round the shunt; the house divider reads 2 % high", replace(
            CAMPER, seed=412, days=6.0, faults=(
                _faulty("load_unseen", 1.0, 0.6), _faulty("fridge_unseen", 2.0, 0.5), _faulty("house_divider_wrong", 4.0, 1.02)))),
        "lithium": _life("lithium behind a DC-DC charger, three dull days", lithium),
        "lithium-faded": _life("lithium at 72 % of rated capacity behind a relay, a well-known shunt", replace(
            lithium, seed=422, charging="isolator", house=replace(lithium.house, true_capacity_frac=0.72, soc_frac=0.9)),
            vehicle=replace(_owner(lithium), current_sensor=CurrentSensor(0.02, 0.01, 1.001, 0.002), charging="isolator")),
        "label-wrong": _life("the label says agm, the battery is lithium", replace(lithium, seed=423), vehicle=replace(
            _owner(lithium), house=Battery("house", "agm", 100.0))),
        "without-clock": Life("nobody knows the time of day; the fridge's own switch opens in dull weather", _owner(
            replace(CAMPER, seed=413)), lambda: _without_clock(replace(
                CAMPER, seed=413, days=6.0, panel_w=70.0, cloud_days=((1, 4, 0.25),), drives=CAMPER.drives[:1]))),
        "swap": Life("another, larger battery is put in without a word", _owner(replace(
            CAMPER, house=BatteryPlan("agm", 80.0))), _swap),
        "weekends": _season(),
    }
