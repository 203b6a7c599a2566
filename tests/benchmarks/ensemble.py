"""Ensembles of simulated vehicles with their truth, for judging trackers on vehicles nobody tuned to.

How to use it::

    from tests.benchmarks.ensemble import vehicles, parkings, camps, half_years, journey, owner

    for plan in vehicles("lead healthy", count=30, seed=1):
        vehicle = owner(plan)                       # monitor.battery.Vehicle: what the owner knows
        for sample, truth in journey(plan, step_s=60):
            ...                                     # monitor.sample.Sample, drivers.vehicle.State
    minutes = monitor.sampling.gather.minutes(sample for sample, _ in journey(plan))   # as trackers want them

* vehicles(case): CASES names them. 14 days, both seasons, any size, unknown start, biased shunt.
* parkings(case): PARKINGS names them. Starter battery after a few drives; faults in `plan.faults`.
* camps(): 40 nights at camp with clouds, guests, heat and rare drives, reserve sometimes reached.
* half_years(case): HALF_YEARS names them. 182 days, use step_s=120; capacity_ah of the truth falls.

truth carries house_soc_frac, house_charge_ah, house_capacity_ah, starter_soc_frac, isolator_closed,
engine_running, solar_current_a, load and fridge current, fault (kinds joined by "+"), and more: see
drivers.vehicle.sim.State. Equal arguments give equal vehicles. A gap gives samples with no values.
"""
from collections.abc import Iterator
from dataclasses import replace
from random import Random

from drivers.vehicle import BatteryPlan, Drive, Ordered, Plan, SensorPlan, State, VehicleSim
from monitor.battery.label import Battery, Vehicle
from monitor.sample import Sample

DAY_S = 86400.0
CASES = ("lead healthy", "lead worn", "lead plates", "lead cold", "lithium", "lithium worn")
PARKINGS = ("healthy", "drain 30-45 mA", "drain 60-85 mA", "drain 150-220 mA", "drain 0.5-0.8 A", "drain 2-3 A",
            "drain from the start", "stuck closed", "stuck open", "intermittent", "cell short", "weak starter",
            "path grows", "house joins", "smart alternator", "dc_dc")
HALF_YEARS = ("sound", "reservoir fades", "plates fade", "lithium sound", "lithium fades")


def owner(plan: Plan, reserve_soc_frac: float = 0.2) -> Vehicle:
    """What the owner of this vehicle would write into the configuration: labels only."""
    house = Battery("house", plan.house.chemistry, plan.house.label_ah, 20.0, plan.absorption_v, plan.float_v,
                    reserve_soc_frac)
    starter = Battery("starter", plan.starter.chemistry, plan.starter.label_ah)
    return Vehicle(house, starter, latitude_deg=plan.latitude_deg)


def journey(plan: Plan, step_s: float = 60.0, days: float | None = None) -> Iterator[tuple[Sample, State]]:
    """Samples of a vehicle's journey with the truth of the same moment; every step_s seconds."""
    sim = VehicleSim(plan)
    for k in range(1, int((plan.days if days is None else days) * DAY_S / step_s) + 1):
        state = sim.step(step_s)
        at_s = k * step_s
        reading = sim.reading()
        yield Sample(at_s, hour=(plan.start_hour + at_s / 3600.0) % 24.0, fast_starter=reading.fast_starter,
                     **reading.values), state


def _drives(r: Random, days: float, every_days: float, sure_first: float | None = None) -> tuple[Drive, ...]:
    out, at = [], (r.expovariate(1.0 / every_days) if sure_first is None else sure_first)
    while at < days - 0.1:
        start = int(at) * DAY_S + r.uniform(8.0, 18.0) * 3600.0
        stop = start + 60.0 * r.triangular(8.0, 180.0, 40.0)
        if (not out or start > out[-1].stop_s + 1800.0) and stop < days * DAY_S:
            out.append(Drive(start, stop, r.uniform(0.7, 1.4)))
        at = int(at) + 1.0 + r.expovariate(1.0 / every_days)
    return tuple(out)


def _sensor(r: Random, gaps: float, **more) -> SensorPlan:
    offset = r.choice((-1.0, 1.0)) * r.uniform(0.02, 0.08)
    return SensorPlan(
        current_gain=1.0 + r.uniform(-0.006, 0.006), current_offset_a=offset,
        current_offset_per_k_a=r.uniform(-0.001, 0.001), house_gain=1.0 + r.gauss(0.0, 0.0012),
        starter_gain=1.0 + r.gauss(0.0, 0.0012), starter_per_k_v=r.uniform(-60e-6, 60e-6) * 12.7,
        temperature_offset_c=r.uniform(-1.5, 1.5), noise_v=r.uniform(0.0005, 0.003), noise_a=r.uniform(0.003, 0.02),
        step_v=r.choice((0.00125, 0.004, 0.005)), step_a=r.choice((0.0025, 0.005, 0.02)),
        **{"gaps_per_day": gaps, "with_temperature": r.random() < 0.75, **more})


def _lead(r: Random, label_ah: float, true_frac: float, chemistry: str | None = None, **more) -> BatteryPlan:
    worn = 1.0 if true_frac > 0.85 else r.uniform(1.2, 1.8)
    return BatteryPlan(**{
        "chemistry": chemistry or r.choice(("agm", "agm", "flooded", "gel")), "label_ah": label_ah,
        "true_capacity_frac": true_frac, "soc_frac": r.uniform(0.45, 1.0),
        "full_offset_v": min(max(r.gauss(0.0, 0.05), -0.11), 0.11), "span_factor": r.triangular(0.72, 1.4, 1.0),
        "bend": r.uniform(-0.06, 0.12), "resistance_factor": worn * r.uniform(0.7, 1.4),
        "slow_factor": r.uniform(0.7, 1.5), "gassing_factor": worn**2 * r.uniform(0.5, 1.8),
        "surface_factor": r.uniform(0.5, 1.4), "self_discharge_per_month": r.uniform(0.015, 0.05) * worn**2,
        "loss_frac": r.uniform(0.01, 0.05), "acceptance_h": r.uniform(0.5, 1.6),
        "voltage_per_k": r.uniform(0.0008, 0.0017), **more})


def _lithium(r: Random, label_ah: float, true_frac: float, **more) -> BatteryPlan:
    return BatteryPlan(**{
        "chemistry": "lfp", "label_ah": label_ah, "true_capacity_frac": true_frac, "soc_frac": r.uniform(0.45, 0.95),
        "full_offset_v": r.gauss(0.0, 0.03), "span_factor": r.uniform(0.85, 1.2), "bend": r.uniform(-0.02, 0.02),
        "resistance_factor": r.uniform(0.6, 1.8), "slow_factor": r.uniform(0.6, 1.6),
        "knee_v": r.uniform(0.0, 0.5), "graphite_full": r.uniform(0.75, 0.86),
        "hysteresis_v": r.uniform(0.03, 0.10), "own_use_a": r.uniform(0.004, 0.03),
        "loss_frac": r.uniform(0.001, 0.006), "self_discharge_per_month": r.uniform(0.01, 0.03), **more})


def _starter(r: Random, **more) -> BatteryPlan:
    old = r.random() < 0.3
    return BatteryPlan(**{
        "chemistry": r.choice(("flooded", "flooded", "agm")), "label_ah": r.uniform(45.0, 110.0),
        "true_capacity_frac": r.uniform(0.55, 0.85) if old else r.uniform(0.85, 1.08),
        "limited_by": r.choice(("reservoir", "plates")), "soc_frac": r.uniform(0.82, 1.0),
        "full_offset_v": r.gauss(0.0, 0.05), "span_factor": r.uniform(0.85, 1.35),
        "resistance_factor": r.uniform(0.5, 0.85) * (1.4 if old else 1.0), "surface_factor": r.uniform(0.4, 1.5),
        "slow_factor": r.uniform(0.7, 1.5), "gassing_factor": r.uniform(0.6, 2.0),
        "self_discharge_per_month": r.uniform(0.05, 0.11) if old else r.uniform(0.015, 0.05),
        "acceptance_h": r.uniform(0.5, 1.4), "voltage_per_k": r.uniform(0.0008, 0.0018), **more})


#: hours of full sun a level panel gets on a mean day of a season
SUN_HOURS = {"summer": 4.8, "heat": 5.0, "spring": 3.9, "autumn": 2.3, "cold": 1.3, "frost": 1.5}


def _climate(r: Random, season: str) -> dict:
    mean, day = {"summer": (24.0, 195), "spring": (14.0, 110), "autumn": (12.0, 280), "heat": (32.0, 200),
                 "frost": (-4.0, 15), "cold": (4.0, 330)}[season]
    return {"mean_temperature_c": mean + r.gauss(0.0, 2.5), "swing_c": r.uniform(4.0, 15.0), "day_of_year": day,
            "latitude_deg": r.uniform(36.0, 52.0), "clear_share": r.uniform(0.35, 0.8)}


def _loads(r: Random, label_ah: float, days_of_load: float, season: str = "spring") -> dict:
    """Loads such that a whole battery lasts about days_of_load days, and a panel about to match."""
    daily_ah = label_ah / days_of_load
    fridge_daily = min(0.65 * daily_ah, 90.0)
    size = r.uniform(0.7, 1.4)
    return {"fridge_a": min(max(fridge_daily / (24.0 * 0.36 * size), 1.5), 9.0), "fridge_size": size,
            "fridge_set_c": r.uniform(1.0, 7.0), "standby_a": r.uniform(0.05, 0.3),
            "lights_a": 0.10 * daily_ah / 5.0 * r.uniform(0.6, 1.5), "laptop_wh_per_day": 12.5 * 0.15 * daily_ah,
            "pump_a": r.uniform(3.0, 7.0), "water_l_per_day": r.uniform(8.0, 40.0),
            "panel_w": daily_ah * 12.5 / (0.78 * SUN_HOURS[season]) * r.uniform(0.85, 1.7),
            "cutout_v": r.choice((10.5, 10.8, 11.3, 11.7)), "bedtime_hour": r.uniform(21.5, 24.0)}


def vehicles(case: str, count: int, seed: int = 0, days: float = 14.0) -> Iterator[Plan]:
    """Vehicles of one of CASES for the state of charge: sizes 50 to 300 Ah, 65 to 103 % of rated capacity."""
    if case not in CASES:
        raise ValueError(f"no case {case!r}; choose one of {CASES}")
    for k in range(count):
        r = Random(f"vehicles/{case}/{seed}/{k}")
        label = 50.0 * 6.0 ** r.random()
        if case == "lead healthy":
            house = _lead(r, label, r.uniform(0.88, 1.03))
        elif case == "lead cold":
            house = _lead(r, label, r.uniform(0.85, 1.03))
        elif case == "lead worn":
            house = _lead(r, label, r.uniform(0.65, 0.78))
        elif case == "lead plates":
            house = _lead(r, label, r.uniform(0.65, 0.80), limited_by="plates")
        elif case == "lithium":
            house = _lithium(r, label, r.uniform(0.93, 1.03))
        else:
            house = _lithium(r, label, r.uniform(0.70, 0.84))
        season = r.choice(("cold", "frost", "autumn")) if case == "lead cold" else r.choice(
            ("summer", "spring", "autumn", "heat"))
        lithium = house.chemistry == "lfp"
        # a week without a full charge, carried by drives
        cloudy = ((0, r.randrange(3, 8), r.uniform(0.3, 0.6)),) if lithium or r.random() < 0.4 else ()
        every_days = r.uniform(1.0, 2.5) if cloudy else r.uniform(1.5, 6.0)
        plan = Plan(
            seed=r.getrandbits(32), name=f"{case} {k}", days=days, house=house, starter=_starter(r),
            sensor=_sensor(r, r.choice((0.0, 0.25, 0.7))), drives=_drives(r, days, every_days),
            absorption_v=14.2 if lithium else r.uniform(14.3, 14.7), float_v=13.5 if lithium else 13.6,
            absorption_h=1.0 if lithium else r.uniform(2.0, 4.0), charging=r.choice(("isolator", "dc_dc")),
            path_ohm=r.uniform(0.01, 0.035), dc_dc_a=r.choice((12.0, 20.0, 30.0)), cloud_days=cloudy,
            **_climate(r, season), **_loads(r, label, r.uniform(1.5, 4.0), season))
        yield plan


def parkings(case: str, count: int, seed: int = 0, days: float = 8.0) -> Iterator[Plan]:
    """Vehicles of one of PARKINGS: a few drives, then the starter battery alone for most of the days."""
    if case not in PARKINGS:
        raise ValueError(f"no case {case!r}; choose one of {PARKINGS}")
    for k in range(count):
        r = Random(f"parkings/{case}/{seed}/{k}")
        season = r.choice(("summer", "spring", "autumn", "heat", "frost", "cold"))
        faults: tuple[Ordered, ...] = ()
        more: dict = {"charging": "dc_dc" if case == "dc_dc" or (case.startswith(("healthy", "drain"))
                                                                 and r.random() < 0.25) else "isolator"}
        drives = _drives(r, 1.0, 0.5, 0.0)[:1] + ((_drives(r, days, days / 2.0, days * 0.75),)[0][:1])
        onset = r.uniform(1.5, 4.0) * DAY_S
        if case.startswith("drain"):
            if case == "drain from the start":
                low, high, onset = 0.03, 3.0, 0.0
            else:
                word = case.removeprefix("drain ").split()
                low, high = (float(x) / (1000.0 if word[1] == "mA" else 1.0) for x in word[0].split("-"))
            amps = low * (high / low) ** r.random()
            faults = (Ordered("starter_drain", onset, amount=amps),)
            drives = drives[:1]
        elif case in ("stuck closed", "stuck open", "intermittent"):
            drives = _drives(r, days, 0.8, 0.0)
            stop = drives[len(drives) // 3].start_s + 120.0
            kind = {"stuck closed": "isolator_stuck_closed", "stuck open": "isolator_stuck_open",
                    "intermittent": "isolator_intermittent"}[case]
            faults = (Ordered(kind, stop, amount=r.uniform(0.05, 0.3) if case == "intermittent" else 0.0),)
        elif case == "cell short":
            faults = (Ordered("starter_cell_short", onset, amount=r.uniform(1.7, 2.1)),)
            drives = drives[:1]
        elif case == "weak starter":
            drives = tuple(replace(d, crank_s=r.uniform(1.6, 2.6)) for d in _drives(r, days, 0.7, 0.0))
            faults = (Ordered("starter_weak", 0.0, amount=r.uniform(2.2, 3.2)),)
            more["sensor"] = _sensor(r, 0.0, fast_starter=True)
        elif case == "path grows":
            drives = _drives(r, days, 0.4, 0.0)
            faults = (Ordered("path_resistance", 0.3 * days * DAY_S, amount=r.uniform(0.01, 0.03)),)
        elif case == "house joins":
            more["isolator_senses"] = r.choice(("both", "starter"))
        elif case == "smart alternator":
            more["alternator"] = "smart"
            drives = _drives(r, days, 0.7, 0.0)
        label = r.uniform(70.0, 220.0)
        more.setdefault("sensor", _sensor(r, r.choice((0.0, 0.25)), with_ambient=r.random() < 0.3))
        yield Plan(
            seed=r.getrandbits(32), name=f"{case} {k}", days=days, house=_lead(r, label, r.uniform(0.8, 1.03)),
            starter=_starter(r), drives=drives, faults=faults, starter_standby_a=r.uniform(0.006, 0.03),
            path_ohm=r.uniform(0.01, 0.035), starter_motor_ohm=r.uniform(0.035, 0.07), **_climate(r, season),
            **_loads(r, label, r.uniform(2.0, 5.0), season), **more)


def camps(count: int, seed: int = 0, nights: int = 40) -> Iterator[Plan]:
    """Vehicles at camp for tonight's forecast: batteries of 1.6 to 3.2 days of load, spells, guests, heat."""
    for k in range(count):
        r = Random(f"camps/{seed}/{k}")
        label = r.uniform(70.0, 220.0)
        lithium = r.random() < 0.35
        true = r.uniform(0.8, 1.02)
        house = _lithium(r, label, true) if lithium else _lead(r, label, true, span_factor=r.uniform(0.85, 1.2))
        guests = tuple((d, d + r.randrange(1, 3)) for d in range(5, nights, 12) if r.random() < 0.6)
        heat = tuple((d, d + 4, r.uniform(4.0, 8.0)) for d in range(8, nights, 16) if r.random() < 0.5)
        spells = tuple((d, d + r.randrange(1, 5), r.uniform(0.12, 0.4))
                       for d in range(3, nights, 9) if r.random() < 0.7)
        season = r.choice(("summer", "spring", "heat", "autumn"))
        loads = _loads(r, label, r.uniform(1.6, 3.2), season)
        loads["panel_w"] *= 0.8
        yield Plan(
            seed=r.getrandbits(32), name=f"camp {k}", days=float(nights + 1), house=house, starter=_starter(r),
            sensor=_sensor(r, 0.1), drives=_drives(r, nights, r.uniform(3.0, 9.0)), guest_days=guests, heat_days=heat,
            cloud_days=spells, absorption_v=14.2 if lithium else 14.4, float_v=13.5 if lithium else 13.6,
            charging=r.choice(("isolator", "dc_dc")), **_climate(r, season), **loads)


def true_growth(plan: Plan, first_s: float, last_s: float) -> float:
    """Resistance in the middle of the week that begins at last_s [s] over that of the week that begins at first_s.

    The simulation lets it grow evenly over all its days.
    """
    per_s = ((plan.house.resistance_end_factor or 1.0) - 1.0) / (plan.days * DAY_S)
    first, last = (1.0 + per_s * (begin_s + 3.5 * DAY_S) for begin_s in (first_s, last_s))
    return last / first


def half_years(case: str, count: int, seed: int = 0) -> Iterator[Plan]:
    """Vehicles over 182 days: weekend trips and holidays. Step them by 120 s."""
    if case not in HALF_YEARS:
        raise ValueError(f"no case {case!r}; choose one of {HALF_YEARS}")
    for k in range(count):
        r = Random(f"half-years/{case}/{seed}/{k}")
        label = r.uniform(60.0, 200.0)
        begin = r.uniform(0.93, 1.02)
        faded = r.uniform(0.60, 0.76) if "fade" in case else begin - r.uniform(0.02, 0.06)
        ohms = r.uniform(1.7, 2.6) if "fade" in case else r.uniform(1.0, 1.15)
        if case.startswith("lithium"):
            house = _lithium(r, label, begin, capacity_end_frac=faded, resistance_end_factor=1.0 + (ohms - 1.0) * 0.4)
        else:
            house = _lead(r, label, begin, capacity_end_frac=faded, resistance_end_factor=ohms,
                          limited_by="plates" if case == "plates fade" else "reservoir")
        loads = _loads(r, label, r.uniform(1.2, 2.2))
        loads["panel_w"] *= 0.5     # small enough that a long weekend goes deep
        away = {d for d in range(182) if d % 7 in (4, 5, 6) or any(a <= d < a + 10 for a in (60, 110))}
        drives = []
        for d in sorted(away):
            if d - 1 not in away or r.random() < 0.25 or d + 1 not in away:
                start = d * DAY_S + r.uniform(8.0, 17.0) * 3600.0
                drives.append(Drive(start, start + 60.0 * r.uniform(25.0, 120.0), r.uniform(0.7, 1.4)))
        climate = _climate(r, "spring") | {"day_of_year": 90, "mean_temperature_c": r.uniform(13.0, 19.0)}
        lithium = house.chemistry == "lfp"
        yield Plan(
            seed=r.getrandbits(32), name=f"half-year {case} {k}", days=182.0, house=house, starter=_starter(r),
            sensor=replace(_sensor(r, 0.1), with_temperature=True), drives=tuple(drives), home_days=tuple(
                d for d in range(183) if d not in away), absorption_v=14.2 if lithium else 14.4,
            float_v=13.5 if lithium else 13.6, **climate, **loads)
