"""False alarms of the limits: sound vehicles of every chemistry, build and climate, their alerts held against their own truth.

Chargers are set right for their battery; half have a relay, half a DC-DC charger; a quarter of the alternators are under
engine control. The air lies between hard frost and a desert. Run by hand:

    python -m tests.benchmarks.bench_limits VEHICLES DAYS [SEED [STEP_S [FILE [quick|whole]]]]

quick (unless said otherwise): charge estimate and isolator are not part of it. What watches limits and wiring gets the true
charge with an interval of ±5 points, and is told whether the engine runs, so that what is counted is what voltage, heat,
frost, cold, protection and shunt claim.
whole: every tracker runs, the charge estimate too, which makes an alert out of too little charge seen as well.
FILE gets a line of JSON for each vehicle; those that it has already are not run again, so that a run may be cut off.
"""
import json
import sys
import time
from array import array
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random

from drivers.vehicle import Plan, VehicleSim
from drivers.vehicle.protection import ProtectionPlan
from monitor import pipeline
from monitor.alerts import rules
from monitor.battery.label import Vehicle
from monitor.battery.limits import told_within_s
from monitor.detection.house import house_alerts, limit_alerts, protection
from monitor.detection.starter import starter, starter_alerts
from monitor.detection.wiring import plausibility
from monitor.findings import ChargeFindings, Condition, Estimate, JoinFindings, NotYet
from monitor.sample import Minute, Sample
from monitor.sampling.gather import minutes
from tests.benchmarks.ensemble import _climate, _drives, _lead, _lithium, _loads, _sensor, _starter, owner

CHEMISTRIES = ("flooded", "agm", "gel", "lfp")
CLIMATES = ("frost", "cold", "autumn", "spring", "summer", "heat", "desert", "hard frost")
#: Absorption voltages of a charger that is set right, by kind (Linden; Berndt, from memory), and its compensation [V/K].
ABSORPTION_V = {"flooded": (14.4, 14.8), "agm": (14.4, 14.7), "gel": (14.1, 14.4), "lfp": (14.0, 14.4)}
#: The highest of them: what a charger may hold at 25 °C.
UPPER_V = {"flooded": 14.8, "agm": 14.7, "gel": 14.4, "lfp": 14.6}
COMPENSATION_V_PER_K = (0.018, 0.030)
WAIT = NotYet("not part of this benchmark")
#: US Army TM 5-4210-230-14&P-1, table 2: charge and freezing point [°C].
FREEZES = ((0.0, -9.4), (0.25, -15.0), (0.5, -26.1), (0.75, -37.2), (1.0, -59.5))
#: What is judged: every alert with a promise of how soon it is raised, and what watches the wiring.
JUDGED = (*told_within_s(), "shunt_bypassed", "house_divider_wrong", "starter_divider_wrong", "channel_at_limit", "sensor_noisy",
          "temperature_sensor_loose")
#: Without a thermometer these say that below freezing the charger may be right.
OF_THE_COLD = ("house_overcharged", "house_over_voltage", "starter_over_voltage")
DAY_S = 86400.0
#: (the batteries are joined, the engine runs) -> what is told of it.
JOINS = {(closed, running): JoinFindings("closed" if closed else "open", "running" if running else "off")
         for closed in (False, True) for running in (False, True)}


def sound(k: int, days: float, seed: int) -> Plan:
    """Vehicle number k of a lot: chemistry, climate and build in turn, everything else by chance."""
    r = Random(f"limits/{seed}/{k}")
    kind, climate = CHEMISTRIES[k % 4], CLIMATES[k // 4 % 8]
    season = {"desert": "heat", "hard frost": "frost"}.get(climate, climate)
    label, worn = 50.0 * 6.0 ** r.random(), r.random() < 0.25
    true = r.uniform(0.65, 0.8) if worn else r.uniform(0.88, 1.03)
    house = _lithium(r, label, true) if kind == "lfp" else _lead(
        r, label, true, kind, **({"limited_by": "plates"} if worn and r.random() < 0.3 else {}))
    if kind == "lfp" and r.random() < 0.6:
        house = replace(house, protection=ProtectionPlan())
    air = _climate(r, season)
    if climate != season:
        air["mean_temperature_c"] += 5.0 if climate == "desert" else -12.0
        air["swing_c"] = r.uniform(10.0, 18.0)
    cloudy = ((0, r.randrange(3, 8), r.uniform(0.3, 0.6)),) if r.random() < 0.5 else ()
    absorption_v = r.uniform(*ABSORPTION_V[kind])
    return Plan(
        seed=r.getrandbits(32), name=f"{seed}/{k} {kind} {climate}", days=days, house=house, starter=_starter(r),
        sensor=_sensor(r, r.choice((0.0, 0.25, 0.7)), with_ambient=r.random() < 0.3, with_solar=r.random() < 0.3),
        drives=_drives(r, days, r.uniform(1.0, 6.0)), absorption_v=absorption_v,
        float_v=min(13.5 if kind == "lfp" else 13.6, absorption_v - 0.5), absorption_h=1.0 if kind == "lfp" else r.uniform(2.0, 4.0),
        compensation_v_per_k=0.0 if kind == "lfp" else r.uniform(*COMPENSATION_V_PER_K), charging="dc_dc" if k // 32 % 2 else "isolator",
        isolator_senses=r.choice(("engine", "starter", "both")), alternator="smart" if r.random() < 0.25 else "steady",
        path_ohm=r.uniform(0.01, 0.035), dc_dc_a=r.choice((12.0, 20.0, 30.0)), cloud_days=cloudy, **air,
        **_loads(r, label, r.uniform(1.5, 4.0), season))


@dataclass
class Truth:
    """What the vehicle itself knows, a row a step."""

    at_s: array = field(default_factory=lambda: array("d"))
    house_c: array = field(default_factory=lambda: array("f"))
    air_c: array = field(default_factory=lambda: array("f"))
    soc: array = field(default_factory=lambda: array("f"))
    volts: array = field(default_factory=lambda: array("f"))
    starter_soc: array = field(default_factory=lambda: array("f"))
    cut_off: array = field(default_factory=lambda: array("b"))
    full_s: float = 0.0
    may_freeze: bool = False
    state: tuple[bool, bool] = (False, False)   # the batteries are joined, the engine runs

    def near(self, values: array, at_s: float, before_s: float = DAY_S, after_s: float = DAY_S) -> list[float]:
        """Values from some time before a moment to some time after it."""
        step_s = self.at_s[0]
        return list(values[max(int((at_s - before_s) / step_s), 0):int((at_s + after_s) / step_s) + 1])


def journey(plan: Plan, truth: Truth, step_s: float) -> Iterator[Sample]:
    """Samples of a vehicle's journey, its truth written down beside."""
    sim = VehicleSim(plan)
    for k in range(1, int(plan.days * DAY_S / step_s) + 1):
        state, at_s, switches = sim.step(step_s), k * step_s, sim._switches
        if state.house_soc_frac > 0.97:
            truth.full_s = at_s
        truth.at_s.append(at_s)
        truth.house_c.append(state.house_temperature_c)
        truth.air_c.append(state.ambient_temperature_c)
        truth.soc.append(state.house_soc_frac)
        truth.volts.append(state.house_voltage_v)
        truth.starter_soc.append(state.starter_soc_frac)
        truth.cut_off.append(switches is not None and (switches.charge_open or switches.discharge_open))
        truth.state = state.isolator_closed, state.engine_running
        reading = sim.reading()
        yield Sample(at_s, hour=(plan.start_hour + at_s / 3600.0) % 24.0, fast_starter=reading.fast_starter, **reading.values)


def quick(samples: Iterator[Sample], vehicle: Vehicle, truth: Truth) -> Iterator[tuple[Minute, tuple[Condition, ...]]]:
    """Each minute with the conditions of what watches limits and wiring, the charge being told.

    The starter battery is followed where the air may freeze, for nothing else of it is judged but its voltage; what is said
    of the wiring is asked every ten minutes, as it stands for days.
    """
    warned, limited, cut = house_alerts.begin(), limit_alerts.begin(), protection.begin()
    watched, plausible, level = starter.begin(), plausibility.begin(), starter_alerts.LevelAlert()
    wiring: tuple[Condition, ...] = ()
    for minute in minutes(samples):
        soc, since_full_s = min(max(truth.soc[-1], 0.0), 1.0), minute.end_s - truth.full_s
        charge = ChargeFindings(Estimate(soc, max(soc - 0.05, 0.0), min(soc + 0.05, 1.0), "counting"), WAIT, WAIT, WAIT, WAIT, WAIT,
                                "full" if truth.full_s else "", since_full_s if truth.full_s else None)
        cut = protection.update(cut, minute, vehicle)
        trusted = protection.findings(cut, vehicle).voltage_trusted
        read = minute if trusted else protection.without_voltage(minute)
        if truth.may_freeze:
            watched = starter.update(watched, minute, vehicle, JOINS[truth.state])
            of_starter = starter.conditions(watched, vehicle)
        else:
            level = starter_alerts.update_level(level, minute, JOINS[truth.state], vehicle.starter)
            of_starter = (starter_alerts.over_voltage(level),)
        warned = house_alerts.update(warned, read, vehicle, charge, JOINS[truth.state])
        if not trusted:
            warned = house_alerts.without_voltage(warned)
        limited = limit_alerts.update(limited, read, vehicle, charge)
        plausible = plausibility.update(plausible, read, vehicle, charge)
        if int(minute.end_s) % 600 == 0:
            wiring = plausibility.conditions(plausible, vehicle, charge)
        yield minute, (
            *house_alerts.conditions(warned, vehicle), *limit_alerts.conditions(limited, vehicle, since_full_s=since_full_s),
            *of_starter, protection.condition(cut, vehicle), *wiring)


def whole(samples: Iterator[Sample], vehicle: Vehicle, truth: Truth) -> Iterator[tuple[Minute, tuple[Condition, ...]]]:
    """Each minute with the conditions of the whole pipeline."""
    held = pipeline.begin(vehicle)
    for minute in minutes(samples):
        held, found = pipeline.step(held, minute, vehicle)
        yield minute, found.conditions


def lived(plan: Plan, step_s: float, how: str) -> tuple[dict[str, int], list[str]]:
    """Alerts raised by kind, and those that the truth does not bear out."""
    vehicle = owner(plan)
    if Random(plan.seed).random() < 0.5:     # half of the owners write the charger's voltages down
        vehicle = replace(vehicle, house=replace(vehicle.house, absorption_v=None, float_v=None))
    truth, alerts, raised = Truth(may_freeze=plan.mean_temperature_c - plan.swing_c < 3.0), rules.begin(), []
    follow = whole if how == "whole" else quick
    for minute, conditions in follow(journey(plan, truth, step_s), vehicle, truth):
        alerts = rules.update(alerts, conditions, minute.end_s)
        raised += [(c.at_s, c.alert.kind, c.alert.seen, minute.end_s - truth.full_s) for c in alerts.news
                   if c.what == "raised" and c.announce]
    false = [f"{plan.name}: {kind} at {at_s / DAY_S:.2f} d: {seen}" for at_s, kind, seen, since_s in raised
             if kind in JUDGED and not is_true(kind, at_s, truth, plan, since_s)]
    return dict(Counter(kind for _, kind, _, _ in raised)), false


def _freezes_c(soc: float) -> float:
    soc = min(max(soc, 0.0), 1.0)
    return next(t0 + (t1 - t0) * (soc - z0) / (z1 - z0) for (z0, t0), (z1, t1) in zip(FREEZES, FREEZES[1:], strict=False) if soc <= z1)


def _overcharged_h(truth: Truth, at_s: float, plan: Plan) -> float:
    """Hours of five days in which the battery truly lay above what a charger should hold at its warmth (Linden; Berndt; 3 mV/K a cell)."""
    kind = "lfp" if plan.house.chemistry == "lfp" else plan.name.split()[1]
    colder_k, warmer_k = (0.0, 0.0) if kind == "lfp" else (0.03, 0.018)     # V per kelvin
    volts, warm_c = (truth.near(column, at_s, 5 * DAY_S, 0.0) for column in (truth.volts, truth.house_c))
    over = sum(v > UPPER_V[kind] + colder_k * max(25.0 - t, 0.0) - warmer_k * max(t - 25.0, 0.0)
               for v, t in zip(volts, warm_c, strict=True))
    return over * truth.at_s[0] / 3600.0


def is_true(kind: str, at_s: float, truth: Truth, plan: Plan, since_full_s: float) -> bool:
    """Whether the vehicle's own truth bears an alert out, within a day; what protects itself within an hour."""
    if kind == "house_too_hot":
        return max(truth.near(truth.house_c, at_s)) > 43.5
    if kind == "cold_charging":
        return min(truth.near(truth.house_c, at_s)) < 7.0
    if kind == "house_deep_discharge":
        return min(truth.near(truth.volts, at_s)) < 10.6
    if kind == "house_freeze_risk":
        return min(truth.near(truth.house_c, at_s)) < _freezes_c(min(truth.near(truth.soc, at_s)) - 0.08) + 6.0
    if kind == "starter_freeze_risk":
        return min(truth.near(truth.air_c, at_s)) < _freezes_c(min(truth.near(truth.starter_soc, at_s)) - 0.1) + 6.0
    if kind == "protection_tripped":
        return any(truth.near(truth.cut_off, at_s, 3600.0, 0.0))
    if kind == "house_never_full":
        return since_full_s > (10.0 if plan.house.chemistry != "lfp" else 60.0) * DAY_S
    # Two hours are said; the tracker remembers a little of those before the five days.
    if kind == "house_overcharged" and _overcharged_h(truth, at_s, plan) > 1.75:
        return True
    if kind in OF_THE_COLD and not plan.sensor.with_temperature and not plan.sensor.with_ambient:
        return min(truth.near(truth.house_c, at_s)) < 0.0   # it says that below freezing the charger may be right
    return False    # too much voltage, runaway, wiring: none of these vehicles has cause for it


def main(arguments: list[str]) -> None:
    """One line of JSON a vehicle; what FILE has already is counted and not run again."""
    count, days, seed, step_s, file, how = (*arguments, *("32", "30", "0", "60", "", "quick")[len(arguments):])
    kept = Path(file) if file else None
    done: dict[str, dict] = {}
    if kept is not None and kept.exists():
        done = {row["name"]: row for row in map(json.loads, kept.read_text(encoding="utf-8").splitlines()) if row["how"] == how}
    begun = time.perf_counter()
    for k in range(int(count)):
        plan = sound(k, float(days), int(seed))
        if plan.name in done:
            continue
        kinds, false = lived(plan, float(step_s), how)
        row = {"name": plan.name, "how": how, "days": float(days), "step_s": float(step_s), "raised": kinds, "false": false}
        done[plan.name] = row
        if kept is not None:
            with kept.open("a", encoding="utf-8") as out:
                out.write(json.dumps(row) + "\n")
        for line in false:
            print(line, flush=True)
    kinds = sum((Counter(row["raised"]) for row in done.values()), Counter())
    wrong = [line for row in done.values() for line in row["false"]]
    months = sum(row["days"] for row in done.values()) / 30.0
    print(f"{len(done)} vehicles, {months:.0f} vehicle-months, {time.perf_counter() - begun:.0f} s of this run")
    print(f"judged: { {kind: kinds[kind] for kind in JUDGED} }; others: { {k: n for k, n in kinds.items() if k not in JUDGED} }")
    print(f"not borne out by the truth: {len(wrong)}", *wrong, sep="\n  ")


if __name__ == "__main__":
    main(sys.argv[1:])
