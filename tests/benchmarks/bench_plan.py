"""Plans made before there is a log against trips that the simulated vehicle lives: nights below the reserve in thirty.

    python -m tests.benchmarks.bench_plan [trips] [lives of each] [first trip]

The vehicle's weather, fridge, household, cables, alternator and batteries are its own (drivers/vehicle): the plan shares no formula
with them. It is told what an owner knows: month and place, what is carried, the labels, how it is driven, and the place's long-term
monthly sun and temperature, which are those of two hundred other months of the same weather. Each trip is lived several times, each
time by another vehicle of that description and with other chance; the middle of the plan is judged against their mean, its 95 % range
against each.
"""
import sys
import time
from dataclasses import replace
from math import sqrt
from random import Random
from statistics import mean

from drivers.simulated import steps
from drivers.vehicle import Plan, VehicleSim
from drivers.vehicle.plan import BatteryPlan, Drive
from drivers.vehicle.weather import Weather
from monitor.planning import plan as planning
from monitor.planning.charging_paths import CONTACT_OHM, EnginePath, cable_ohm
from monitor.planning.climate import between, sky
from monitor.planning.load_catalogue import Load, parse_load
from monitor.planning.trip import Stop, Trip
from monitor.planning.trip_life import Candidate

DAY_S, STEP_S = 86400.0, 240.0
#: Days lived before nights count, and nights counted.
BEFORE, NIGHTS = 5, 30
#: Trips whose lives and ways lie no further apart are decided beforehand [nights].
SAME = 1.01
#: The simulated cabin is 2.5 K warmer than the air, winter and summer [°C].
NOT_HEATED_C = -60.0
MID_MONTH = (17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344)


def draw_plan(number: int) -> tuple[Plan, dict]:
    """One trip: the vehicle, and what its owner knows of it."""
    r = Random(f"trip/{number}")
    kind = r.choice(["agm", "flooded", "gel", "lfp", "lfp"])
    label = r.choice([80.0, 100.0, 130.0, 200.0] if kind != "lfp" else [60.0, 100.0, 150.0])
    month, latitude = r.randrange(12), r.uniform(30, 58) * (1 if r.random() < 0.8 else -1)
    warm = 12 + 12 * (-1 if latitude < 0 else 1) * sky.declination_rad(MID_MONTH[month]) / 0.41 - 0.2 * (abs(latitude) - 44) + r.gauss(0, 3)
    if kind == "lfp":
        warm = max(warm, 8.0)       # its electronics keep it from being charged in frost; the simulated one has none here
    drive_h, standing = r.choice([0.0, 1.0, 1.5, 2.5]), r.choice([0, 1, 2, 4])
    drives = tuple(Drive(day * DAY_S + 10 * 3600.0, day * DAY_S + (10 + drive_h) * 3600.0)
                   for day in range(0, BEFORE + NIGHTS + 1, standing + 1)) if drive_h else ()
    engine = EnginePath(r.choice(["relay", "dcdc"]) if kind != "lfp" else "dcdc", r.choice([3.0, 5.0]), r.choice([10.0, 16.0, 25.0]),
                        r.choice([20.0, 30.0, 40.0]))
    size = r.choice([0.8, 1.0, 1.3])
    vehicle = Plan(
        seed=1000 + number, days=float(BEFORE + NIGHTS + 1), house=BatteryPlan(kind, label, 1.0, 0.9), drives=drives,
        latitude_deg=abs(latitude), day_of_year=(MID_MONTH[month] - 15 - BEFORE + (182 if latitude < 0 else 0)) % 365 + 1,
        mean_temperature_c=warm, swing_c=r.uniform(7, 13), clear_share=r.uniform(0.2, 0.8),
        panel_w=r.choice([0.0, 80.0, 120.0, 180.0, 250.0]) or (0.0 if drive_h else 120.0),
        charging="dc_dc" if engine.kind == "dcdc" else "isolator", dc_dc_a=engine.rating_a, path_ohm=cable_ohm(engine) + CONTACT_OHM,
        fridge_size=size, lights_a=r.uniform(0.6, 2.0), laptop_wh_per_day=r.choice([0.0, 80.0, 150.0]),
        water_l_per_day=r.uniform(10, 30), standby_a=r.uniform(0.05, 0.25))
    return vehicle, {"kind": kind, "month": month, "latitude": latitude, "drive_h": drive_h, "standing": standing, "engine": engine}


def vary(vehicle: Plan, number: int, life: int) -> Plan:
    """A vehicle of the same description: what its owner does not know of battery, alternator, contacts, panel, fridge and people.

    The batteries are those of ensemble.py when new; the rest is spread as such things are (common practice), with no eye on the plan's
    own doubts.
    """
    r, lead = Random(f"trip/{number}/{life}"), vehicle.house.chemistry != "lfp"
    battery = {"acceptance_h": r.uniform(0.5, 1.6), "resistance_factor": r.uniform(0.7, 1.4), "loss_frac": r.uniform(0.01, 0.05),
               "slow_factor": r.uniform(0.7, 1.5), "span_factor": r.uniform(0.85, 1.2),
               "full_offset_v": min(max(r.gauss(0, 0.05), -0.1), 0.1)
               } if lead else {"resistance_factor": r.uniform(0.6, 1.8), "loss_frac": r.uniform(0.001, 0.006)}
    return replace(
        vehicle, seed=vehicle.seed + 7919 * (life + 1), house=replace(vehicle.house, true_capacity_frac=r.uniform(0.92, 1.04), **battery),
        alternator_v=vehicle.alternator_v + r.uniform(-0.25, 0.3), alternator_limit_a=r.uniform(45, 95),
        path_ohm=vehicle.path_ohm * r.uniform(0.75, 1.5), panel_w=vehicle.panel_w * r.uniform(0.88, 1.06),
        fridge_size=vehicle.fridge_size * r.uniform(0.75, 1.3), lights_a=vehicle.lights_a * r.uniform(0.75, 1.25),
        laptop_wh_per_day=vehicle.laptop_wh_per_day * r.uniform(0.7, 1.35), standby_a=vehicle.standby_a * r.uniform(0.85, 1.15),
        water_l_per_day=vehicle.water_l_per_day * r.uniform(0.6, 1.5))


def long_term(vehicle: Plan) -> tuple[float, float]:
    """The month's mean sun [kWh/m2 a day] and temperature [°C] in other months of the same weather."""
    sun, air, ticks = 0.0, 0.0, 0
    for seed in range(200):
        weather = Weather(replace(vehicle, seed=90_000 + seed, day_of_year=vehicle.day_of_year + BEFORE))
        for k in range(NIGHTS * 24):
            weather.tick(k * 3600.0 + 1800.0, 3600.0)
            sun += weather.light_w_per_m2 / 1000
            air += weather.air_c
            ticks += 1
    return sun / ticks * 24, air / ticks


def ask(vehicle: Plan, known: dict) -> tuple[planning.PlanResult, list[float]]:
    """What the planner says to an owner who knows that, and the nights in thirty of each way that it drew."""
    sun, air = long_term(vehicle)
    month, latitude = known["month"], known["latitude"]
    climate = between.climate_at(latitude, 10.0, 100.0)
    most = between.CLEARNESS_LIMITS[1] * sky.monthly_extraterrestrial_kwh_m2(latitude)[month]
    suns = tuple(min(sun, most) if m == month else s for m, s in enumerate(climate.sun_kwh_m2_day))
    airs = tuple(air if m == month else t for m, t in enumerate(climate.air_c))
    stop = Stop(between.with_own_figures(climate, suns, airs), month, NIGHTS)
    trip = Trip((stop,), known["drive_h"], known["standing"], 2.5, heated_c=NOT_HEATED_C)
    loads: list[Load] = [parse_load(f"fridge,volume={45 * vehicle.fridge_size ** 1.5:.0f}"),
                         replace(parse_load("lights"), power_w=12.5 * vehicle.lights_a), parse_load("pump"),
                         Load("standby", 12.5 * vehicle.standby_a, 24.0, "always", 0.1)]
    if vehicle.laptop_wh_per_day:
        loads.append(Load("laptop", vehicle.laptop_wh_per_day / 2.5, 2.5, "day", 0.25))
    reserve = 0.2 if known["kind"] == "lfp" else 0.5
    candidate = Candidate("as it is", known["kind"], vehicle.house.label_ah, reserve, vehicle.panel_w,
                          known["engine"] if known["drive_h"] else EnginePath(), mount="free")
    drawn = planning.prepare(trip, loads)
    ways = [way.below * NIGHTS / way.nights for way in planning.weigh(drawn, candidate)]
    return planning.compare(drawn, [candidate], life=False)[0], ways


def live(vehicle: Plan, reserve: float) -> float:
    """Nights below the reserve in thirty, noon to noon, on the true charge of the vehicle."""
    sim = VehicleSim(vehicle)
    low, below, noons = 1.0, 0, 0
    for step_s in steps(sim, vehicle.days, STEP_S):
        state = sim.step(step_s)
        if int(state.at_s / DAY_S + 0.5) > noons:
            noons += 1
            below += noons > BEFORE + 1 and low < reserve
            low = 1.0
        low = min(low, state.house_soc_frac)
    return below * NIGHTS / (noons - BEFORE - 1)


def main(wanted: list[str]) -> None:
    """Thirty trips, each lived six times, or as many as asked for, from the first that is asked for."""
    weigh(int(wanted[0]) if wanted else 30, int(wanted[1]) if len(wanted) > 1 else 6, int(wanted[2]) if len(wanted) > 2 else 0)


def weigh(count: int, lives: int, first: int = 0, varied: bool = True) -> None:
    """Prints a row for each trip, and how many were met; varied: each life is another vehicle of that description."""
    met = inside = every = 0
    misses: list[float] = []
    ranks: list[float] = []
    for number in range(first, first + count):
        begun = time.process_time()
        vehicle, known = draw_plan(number)
        told, ways = ask(vehicle, known)
        others = [vary(vehicle, number, k) if varied else replace(vehicle, seed=vehicle.seed + 7919 * (k + 1)) for k in range(lives)]
        true = [live(other, told.candidate.reserve_frac) for other in others]
        if max(true) - min(true) > SAME or nights_apart(ways) > SAME:
            ranks += [rank(t, ways, Random(f"rank/{number}/{k}")) for k, t in enumerate(true)]
        nights = told.nights_below
        miss = nights.value - mean(true)
        misses.append(miss)
        good = abs(miss) <= max(2.0, 0.25 * mean(true))
        met += good
        inside += sum(nights.low - 1e-9 <= t <= nights.high + 1e-9 for t in true)
        every += lives
        engine = f"{known['engine'].kind} {known['drive_h']:g} h each {known['standing'] + 1} days"
        where = f"{known['latitude']:.0f}°, month {known['month'] + 1}, {vehicle.mean_temperature_c:.0f} °C"
        print(f"trip {number}: {known['kind']} {vehicle.house.label_ah:.0f} Ah, {vehicle.panel_w:.0f} W, {engine}, {where}: true "
              f"{', '.join(f'{t:.0f}' for t in true)}; told {nights.value:.1f} ({nights.low:.1f} to {nights.high:.1f})"
              f"{'' if good else '  missed'}  [{time.process_time() - begun:.0f} s]", flush=True)
    print(f"within 25 % or 2 nights: {met} of {count}; range holds {inside} of {every} lives ({100 * inside / every:.0f} %); "
          f"mean absolute miss {mean(map(abs, misses)):.2f}, mean miss {mean(misses):+.2f}, rms {sqrt(mean(m * m for m in misses)):.2f}")
    if ranks:
        held = ", ".join(f"{100 * w:.0f} % range {100 * mean(abs(2 * p - 1) <= w for p in ranks):.0f} %" for w in (0.5, 0.8, 0.9, 0.95))
        print(f"on trips that are not decided beforehand, ties by chance ({len(ranks)} lives): {held}")


def nights_apart(ways: list[float]) -> float:
    """How far the ways lie apart, the two at each end left out."""
    ordered = sorted(ways)
    return ordered[-3] - ordered[2]


def rank(true: float, ways: list[float], chance: Random) -> float:
    """Where a life lies among the ways, 0 to 1; among equal ones by chance. Spread evenly, if the ways are drawn as lives fall out."""
    below, equal = sum(w < true - 0.5 for w in ways), sum(abs(w - true) <= 0.5 for w in ways)
    return (below + chance.random() * (equal + 1)) / (len(ways) + 1)


if __name__ == "__main__":
    main(sys.argv[1:])
