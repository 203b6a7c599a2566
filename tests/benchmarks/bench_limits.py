"""False alarms of the limits: sound vehicles of all climates, chargers set right for their battery, alerts held against the truth.

The charge estimate is not part of it: the trackers of the limits get the true charge with an interval of ±5 points, so
that what is counted is what voltage, heat, frost, cold and protection claim. Run by hand:

    python -m tests.benchmarks.bench_limits VEHICLES DAYS [SEED [STEP_S]]

STEP_S is 120 s unless given; with 300 s a month takes 0.7 s of a core instead of 1.6 s, and the limits, which ask for minutes,
see single readings: no fewer false alarms than with finer steps.
"""
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from random import Random

from drivers.vehicle import Plan
from monitor.alerts import rules
from monitor.battery.label import Vehicle
from monitor.detection.house import house_alerts, limit_alerts, protection
from monitor.findings import ChargeFindings, Estimate, NotYet
from monitor.sampling.gather import minutes
from tests.benchmarks.ensemble import journey, owner, vehicles

CASES = ("lead healthy", "lead worn", "lead cold", "lithium", "lithium worn")
#: Absorption voltages of a charger that is set right, by kind (Linden; Berndt, from memory), and its compensation [V/K].
ABSORPTION_V = {"flooded": (14.4, 14.8), "agm": (14.4, 14.7), "gel": (14.1, 14.4), "lfp": (14.0, 14.4)}
COMPENSATION_V_PER_K = (0.018, 0.030)
WAIT = NotYet("not part of this benchmark")
#: US Army TM 5-4210-230-14&P-1, table 2: charge and freezing point [°C].
FREEZES = ((0.0, -9.4), (0.25, -15.0), (0.5, -26.1), (0.75, -37.2), (1.0, -59.5))


def sound(case: str, count: int, days: float, seed: int) -> Iterator[Plan]:
    """Vehicles of an ensemble whose chargers suit their battery."""
    for k, plan in enumerate(vehicles(case, count, seed, days)):
        r, kind = Random(f"limits/{seed}/{case}/{k}"), plan.house.chemistry
        absorption_v = r.uniform(*ABSORPTION_V[kind])
        yield replace(plan, absorption_v=absorption_v, float_v=min(plan.float_v, absorption_v - 0.5),
                      compensation_v_per_k=0.0 if kind == "lfp" else r.uniform(*COMPENSATION_V_PER_K))


def lived(plan: Plan, step_s: float = 120.0) -> tuple[str, Counter[str], list[str]]:
    """The case, alerts raised by kind, and those that the truth does not bear out."""
    told = Random(plan.seed).random() < 0.5     # half of the owners write the charger's voltages down
    vehicle: Vehicle = owner(plan)
    if not told:
        vehicle = replace(vehicle, house=replace(vehicle.house, absorption_v=None, float_v=None))
    truth: list[tuple[float, float, float, float]] = []     # second, °C, charge, volts

    def seen() -> Iterator:
        for sample, state in journey(plan, step_s):
            truth.append((sample.at_s, state.house_temperature_c, state.house_soc_frac, state.house_voltage_v))
            yield sample

    warned, limited, cut, alerts = house_alerts.begin(), limit_alerts.begin(), protection.begin(), rules.begin()
    raised: list[tuple[float, str]] = []
    for minute in minutes(seen()):
        soc = min(max(truth[-1][2], 0.0), 1.0)
        charge = ChargeFindings(Estimate(soc, max(soc - 0.05, 0.0), min(soc + 0.05, 1.0), "counting"), WAIT, WAIT, WAIT, WAIT, WAIT,
                                "full" if soc > 0.98 else "", 0.0 if soc > 0.98 else None)
        cut = protection.update(cut, minute, vehicle)
        warned = house_alerts.update(warned, minute, vehicle, charge)
        limited = limit_alerts.update(limited, minute, vehicle, charge)
        conditions = (*house_alerts.conditions(warned, vehicle), *limit_alerts.conditions(limited, vehicle, sun_in_s=None),
                      protection.condition(cut, vehicle))
        alerts = rules.update(alerts, conditions, minute.end_s)
        raised += [(c.at_s, c.alert.kind) for c in alerts.news if c.what == "raised" and c.announce]
    new = [(at_s, kind) for at_s, kind in raised if kind not in ("house_low", "house_under_voltage")]
    false = [f"{plan.name} ({plan.house.chemistry}): {kind} at {at_s / 86400.0:.2f} d" for at_s,
             kind in new if not _true(kind, at_s, truth, plan)]
    return plan.name.rsplit(" ", 1)[0], Counter(kind for _, kind in new), false


def _true(kind: str, at_s: float, truth: list[tuple[float, float, float, float]], plan: Plan) -> bool:
    """Whether the vehicle's own truth bears an alert out, within a day (two for hours of voltage)."""
    near = [row for row in truth if abs(row[0] - at_s) < 86400.0]
    coldest, hottest, lowest_v = min(r[1] for r in near), max(r[1] for r in near), min(r[3] for r in near)
    if kind == "house_too_hot":
        return hottest > 43.5
    if kind == "cold_charging":
        return coldest < 7.0
    if kind == "house_deep_discharge":
        return lowest_v < 10.6
    if kind == "house_freeze_risk":
        soc = max(min(r[2] for r in near) - 0.08, 0.0)
        point_c = next(t0 + (t1 - t0) * (soc - z0) / (z1 - z0) for (z0, t0),
                       (z1, t1) in zip(FREEZES, FREEZES[1:], strict=False) if soc <= z1)
        return coldest < point_c + 6.0
    return False    # too much voltage, runaway and protection: none of these vehicles has cause for it


def main(arguments: list[str]) -> None:
    count, days, seed = (int(arguments[0]) if arguments else 8), float(arguments[1]) if len(arguments) > 1 else 30.0, (
        int(arguments[2]) if len(arguments) > 2 else 0)
    step_s = float(arguments[3]) if len(arguments) > 3 else 120.0
    plans = [plan for case in CASES for plan in sound(case, max(count // len(CASES), 1), days, seed)]
    Random(seed).shuffle(plans)     # a run that is broken off has seen all of them
    begun, kinds, wrong, lives = time.perf_counter(), Counter(), [], 0
    with ProcessPoolExecutor(2) as pool:
        for _, found, false in pool.map(lived, plans, [step_s] * len(plans)):
            kinds, wrong, lives = kinds + found, wrong + false, lives + 1
            if lives % 10 == 0:
                print(f"{lives} vehicles, {lives * days / 30.0:.0f} months: {dict(kinds)}; not borne out: {len(wrong)}", flush=True)
    print(f"{lives} vehicles, {lives * days / 30.0:.0f} vehicle-months in {time.perf_counter() - begun:.0f} s; alerts: {dict(kinds)}")
    print(f"not borne out by the truth: {len(wrong)}", *wrong, sep="\n  ")


if __name__ == "__main__":
    main(sys.argv[1:])
