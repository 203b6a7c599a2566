"""Fresh drives with truth from the open physics simulator PyBaMM, in the form of tests/recordings.

    pip install pybamm          # in an environment of its own; ampledger does not need it
    python -m tests.benchmarks.pybamm_truth FOLDER [NAME ...]      # without a folder: says which there are

A name of the form KIND:SEED draws a vehicle of that kind at random, so that fresh ones never run out: lead, worn, acid
(weaker than the kind it is told to be), lfp, lfpworn.

The house battery is a published cell model (V. Sulzer et al., J. Open Res. Software 9 (2021) 14): lead-acid is the
porous-electrode model of Sulzer et al., J. Electrochem. Soc. 166 (2019) A2363; lithium iron phosphate the
single-particle model with the Prada2013 set. It is stepped by implicit Euler with Newton's method inside the
simulated vehicle, whose loads, sun, engine, starter battery and instruments drive it. The cell models neither gas
nor tire near full and relax within minutes, so physics_battery.py adds that. Each folder holds readings.csv.gz,
truth.csv.gz and scenario.toml as tests/recordings/score.py reads them.
"""
import csv
import gzip
import sys
import time
from dataclasses import replace
from pathlib import Path
from random import Random

from drivers.vehicle import BatteryPlan, Drive, Plan, SensorPlan, VehicleSim
from drivers.vehicle.weather import clear_sky_w_per_m2, sun_height_sin
from tests.benchmarks.physics_battery import PhysicsBattery, iron_phosphate, lead_acid

DAY_S = 86400.0
SAMPLE_S = 30.0

#: name -> (chemistry, label Ah, true share of it, start, season day, extra for the battery)
DRIVES = {
    "lead-60-healthy": ("agm", 60.0, 0.97, 0.72, 160, {}),
    "lead-90-healthy": ("agm", 90.0, 1.02, 0.85, 250, {}),
    "lead-140-healthy": ("agm", 140.0, 0.93, 0.60, 120, {}),
    "lead-200-healthy": ("agm", 200.0, 0.95, 0.90, 275, {}),
    "lead-80-worn": ("agm", 80.0, 0.70, 0.80, 190, {"worn": 1.7}),
    "lead-120-worn": ("agm", 120.0, 0.66, 0.65, 150, {"worn": 2.1}),
    "lead-180-worn": ("agm", 180.0, 0.73, 0.75, 230, {"worn": 1.5}),
    "lead-100-weak-acid": ("flooded", 100.0, 0.94, 0.78, 200, {"acid": 5100.0}),
    "lfp-80": ("lfp", 80.0, 0.99, 0.62, 170, {}),
    "lfp-150": ("lfp", 150.0, 0.96, 0.45, 255, {}),
    "lfp-200": ("lfp", 200.0, 1.01, 0.80, 110, {}),
    "lfp-120-worn": ("lfp", 120.0, 0.79, 0.70, 215, {"worn": 1.4}),
}


#: kind -> (chemistry, true share of the label, resistance against a new one); both drawn between their two ends
KINDS = {
    "lead": ("agm", (0.88, 1.03), (1.0, 1.2)),
    "worn": ("agm", (0.63, 0.78), (1.3, 2.3)),
    "acid": ("flooded", (0.85, 1.0), (1.0, 1.3)),
    "lfp": ("lfp", (0.93, 1.02), (1.0, 1.0)),
    "lfpworn": ("lfp", (0.68, 0.84), (1.2, 1.6)),
}


def traits_of(name: str) -> tuple[str, float, float, float, int, dict[str, float]]:
    """A line of DRIVES, or one drawn at random for a name like lead:17."""
    if name in DRIVES:
        return DRIVES[name]
    kind, _, seed = name.partition(":")
    if kind not in KINDS or not seed:
        raise SystemExit(f"{name}: no such drive; there are {', '.join(DRIVES)} and, with a seed, "
                         f"{', '.join(f'{k}:1' for k in KINDS)}")
    r = Random(f"physics/traits/{name}")
    chemistry, share, worn = KINDS[kind]
    label = float(r.randrange(50, 251, 5))
    more = {"acid": r.uniform(5000.0, 5250.0)} if kind == "acid" else {}
    if worn[1] > 1.0:
        more["worn"] = r.uniform(*worn)
    return chemistry, label, r.uniform(*share), r.uniform(0.4, 0.95), r.randrange(80, 300), more


def plan_of(name: str) -> Plan:
    """The vehicle around the battery: loads that use a third to a half of it each day, drives, cloudy days."""
    chemistry, label, true, start, day, _ = traits_of(name)
    r = Random(f"physics/{name}")
    days = float(r.randrange(11, 15))
    lithium = chemistry == "lfp"
    daily_ah = min(label * true * (r.uniform(0.16, 0.28) if lithium else r.uniform(0.28, 0.45)), 85.0)
    size = r.uniform(0.8, 1.2)
    drives = []
    at = r.uniform(1.0, 3.0)
    while at < days - 0.3:
        begin = int(at) * DAY_S + r.uniform(9.0, 17.0) * 3600.0
        drives.append(Drive(begin, begin + r.uniform(30.0, 130.0) * 60.0, r.uniform(0.7, 1.3)))
        at += r.uniform(1.5, 4.5)
    cloudy = r.randrange(2, 8)
    latitude, clear = r.uniform(38.0, 50.0), r.uniform(0.4, 0.75)
    sun_h = sum(clear_sky_w_per_m2(sun_height_sin(latitude, day, h / 4.0)) for h in range(96)) / 4000.0
    sun_h *= 0.97 * clear + 0.5 * (1.0 - clear)
    plan = Plan(
        seed=r.getrandbits(32), name=name, days=days, drives=tuple(drives), day_of_year=day,
        latitude_deg=latitude,
        house=BatteryPlan(chemistry=chemistry, label_ah=label, true_capacity_frac=true, soc_frac=start),
        starter=BatteryPlan(chemistry="flooded", label_ah=r.uniform(55.0, 95.0), soc_frac=r.uniform(0.85, 0.98),
                            resistance_factor=0.65),
        sensor=SensorPlan(
            current_gain=1.0 + r.uniform(-0.006, 0.006), current_offset_a=r.choice((-1, 1)) * r.uniform(0.02, 0.08),
            current_offset_per_k_a=r.uniform(-0.001, 0.001), house_gain=1.0 + r.gauss(0.0, 0.0012),
            starter_gain=1.0 + r.gauss(0.0, 0.0012), temperature_offset_c=r.uniform(-1.2, 1.2), gaps_per_day=0.3),
        mean_temperature_c=r.uniform(11.0, 27.0), swing_c=r.uniform(5.0, 14.0), clear_share=clear,
        cloud_days=((0, r.randrange(4, 7), r.uniform(0.35, 0.5)),) if lithium else (
            (cloudy, cloudy + r.randrange(1, 4), r.uniform(0.2, 0.4)),),
        panel_w=daily_ah * 13.0 / (0.78 * sun_h), absorption_v=14.2 if lithium else 14.4,
        float_v=13.5 if lithium else 13.6, absorption_h=0.8 if lithium else r.uniform(2.0, 3.5),
        fridge_a=min(0.62 * daily_ah / (24.0 * 0.33 * size), 9.0), fridge_size=size, standby_a=r.uniform(0.05, 0.2),
        lights_a=0.016 * daily_ah * r.uniform(0.8, 1.4), laptop_wh_per_day=1.9 * daily_ah,
        cutout_v=11.2 if lithium else 10.6, path_ohm=r.uniform(0.012, 0.03), starter_standby_a=r.uniform(0.006, 0.02))
    return _deep_enough(plan, r.uniform(0.12, 0.45))


def _deep_enough(plan: Plan, deepest_frac: float) -> Plan:
    """The plan with the panel that brings the vehicle's own battery down to this charge, no further."""
    low_w, high_w = 0.4 * plan.panel_w, 2.5 * plan.panel_w
    for _ in range(6):
        tried = replace(plan, panel_w=(low_w + high_w) / 2.0)
        sim = VehicleSim(tried)
        lowest = min(sim.step(120.0).house_soc_frac for _ in range(int(plan.days * 720)))
        low_w, high_w = (tried.panel_w, high_w) if lowest < deepest_frac else (low_w, tried.panel_w)
    return tried


def battery_of(name: str, plan: Plan) -> PhysicsBattery:
    """The physics battery of a drive, at its start."""
    chemistry, label, true, start, _, more = traits_of(name)
    r = Random(f"physics/{name}/battery")
    if chemistry == "lfp":
        return iron_phosphate(label, label * true, start, r, **more)
    return lead_acid(label, label * true, start, r, **more)


def write(name: str, folder: Path) -> None:
    """Live one drive and write its three files."""
    plan = plan_of(name)
    sim = VehicleSim(plan)
    sim.house = battery_of(name, plan)
    first = sim.house.drawn_ah, sim.house.lost_ah
    place = folder / name.replace(":", "-")
    place.mkdir(parents=True, exist_ok=True)
    r = Random(f"physics/{name}/blanks")
    begun, throughput, net = time.time(), 0.0, 0.0
    low, high, deepest, fullest = 99.0, 0.0, 9.0, -9.0
    with gzip.open(place / "readings.csv.gz", "wt", newline="") as seen_file, \
            gzip.open(place / "truth.csv.gz", "wt", newline="") as truth_file:
        seen, truth = csv.writer(seen_file), csv.writer(truth_file)
        seen.writerow(["t_s", "house_v", "house_a", "starter_v", "house_temp_c"])
        truth.writerow(["t_s", "house_soc", "house_charge_ah", "starter_soc", "isolator_closed", "engine_running",
                        "fault"])
        for k in range(1, int(plan.days * DAY_S / SAMPLE_S) + 1):
            state = sim.step(SAMPLE_S)
            values = sim.reading().values
            row = [values.get("house_voltage_v"), values.get("house_current_a"), values.get("starter_voltage_v"),
                   values.get("house_temperature_c")]
            if r.random() < 0.001:
                row[2] = None
            seen.writerow([int(k * SAMPLE_S)] + ["" if v is None else f"{v:.5g}" for v in row])
            truth.writerow([int(k * SAMPLE_S), f"{state.house_soc_frac:.6f}", f"{state.house_charge_ah:.4f}",
                            f"{state.starter_soc_frac:.6f}", int(state.isolator_closed), int(state.engine_running),
                            state.fault])
            net += state.house_current_a * SAMPLE_S / 3600.0
            throughput += abs(state.house_current_a) * SAMPLE_S / 3600.0
            low, high = min(low, state.house_voltage_v), max(high, state.house_voltage_v)
            deepest, fullest = min(deepest, state.house_soc_frac), max(fullest, state.house_soc_frac)
    house = sim.house
    balance = net - (first[0] - house.drawn_ah) - (house.lost_ah - first[1])
    lines = [f'description = "House battery by PyBaMM {house.core.version}: {name}."',
             f'chemistry = "{"lfp" if plan.house.chemistry == "lfp" else "lead_acid"}"',
             f"rated_ah = {plan.house.label_ah}", "rated_hours = 20", f"true_capacity_ah = {house.capacity_ah}",
             f"initial_soc = {1.0 - first[0] / house.capacity_ah:.4f}",
             f"starter_capacity_ah = {plan.starter.label_ah:.1f}",
             f"days = {int(plan.days)}", f"sample_s = {int(SAMPLE_S)}", f"absorption_v = {plan.absorption_v}",
             f"float_v = {plan.float_v}", f"panel_w = {plan.panel_w:.0f}", f"latitude = {plan.latitude_deg:.1f}",
             f"day_of_year = {plan.day_of_year}", "start_hour = 0", f"seed = {plan.seed}", "", "[sensor]",
             f"i_gain = {plan.sensor.current_gain - 1.0:.5f}", f"i_off = {plan.sensor.current_offset_a:.4f}",
             f"i_off_per_k = {plan.sensor.current_offset_per_k_a:.5f}", f"v_gain = {plan.sensor.house_gain - 1.0:.5f}",
             f"sv_gain = {plan.sensor.starter_gain - 1.0:.5f}", f"t_off = {plan.sensor.temperature_offset_c:.2f}", "",
             "[check]", f"balance_err_ah = {balance:.3g}", f"throughput_ah = {throughput:.1f}",
             f"side_reaction_ah = {house.lost_ah - first[1]:.3f}", f"unconverged_steps = {house.core.unconverged}",
             f"soc_min = {deepest:.4f}", f"soc_max = {fullest:.4f}", f"v_min = {low:.3f}", f"v_max = {high:.3f}"]
    for drive in plan.drives:
        lines += ["", "[[drive]]", f"start_s = {int(drive.start_s)}", f"stop_s = {int(drive.stop_s)}"]
    (place / "scenario.toml").write_text("\n".join(lines) + "\n")
    print(f"{name}: charge {deepest:.2f} to {fullest:.3f}, {low:.2f} to {high:.2f} V, {throughput:.0f} Ah, "
          f"balance {balance:.1e} Ah, not converged {house.core.unconverged}, {time.time() - begun:.0f} s", flush=True)


def main(arguments: list[str]) -> None:
    if not arguments:
        print(__doc__, "\nDrives:", ", ".join(DRIVES), "\nKinds:", ", ".join(KINDS))
        return
    for name in arguments[1:] or DRIVES:
        write(name, Path(arguments[0]))


if __name__ == "__main__":
    main(sys.argv[1:])
