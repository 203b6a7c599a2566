"""Loads found and named, on simulated vehicles with the truth per load: ampere-hours a day of each, and whether they lie in the range.

    python -m tests.benchmarks.bench_named_loads [VEHICLES] [DAYS] [STEP_S ...]

Each vehicle has its fridge, lights, pump and laptop of changing current, and three loads of steady current: a heater at
night, a charger by day and evening, a lamp. Their owner names fridge and those three on the third evening, by what is on the list.
"""
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import log
from random import Random

from monitor import pipeline
from monitor.battery.label import NamedLoad, Vehicle
from monitor.findings import Estimate
from monitor.sampling.gather import minutes
from monitor.usage.load_shares import LoadShare, LoadSharesFindings
from tests.benchmarks.ensemble import DAY_S, journey, owner, vehicles

LOADS = ("fridge", "heater", "charger", "lamp")
NAMED_ON_DAY = 3


@dataclass
class Life:
    """What a vehicle's loads took each day, and what was found of them at the end of each."""

    truth_ah: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    found: list[LoadSharesFindings] = field(default_factory=list)
    us: float = 0.0
    vehicle: Vehicle | None = None
    names: int = 0


def blocks(random: Random, days: int) -> dict[str, list[tuple[float, float, float]]]:
    """(from, to, amperes) of the steady loads."""
    amps = {"heater": random.uniform(1.2, 2.2), "charger": random.uniform(4.6, 6.5), "lamp": random.uniform(0.7, 1.1)}
    made: dict[str, list[tuple[float, float, float]]] = {name: [] for name in amps}
    for day in range(days):
        start = day * DAY_S
        on = start + random.uniform(18.5, 20.5) * 3600
        made["heater"].append((on, on + random.uniform(2.0, 9.0) * 3600, amps["heater"]))
        for hour in (random.uniform(7.0, 12.0), random.uniform(17.0, 21.0)):
            if random.random() < 0.7:
                at = start + hour * 3600
                made["charger"].append((at, at + random.uniform(0.5, 1.8) * 3600, amps["charger"]))
        at = start + random.uniform(20.0, 21.5) * 3600
        made["lamp"].append((at, at + random.uniform(0.8, 2.5) * 3600, amps["lamp"]))
    return made


def _overlap(block: tuple[float, float, float], start: float, stop: float) -> float:
    return max(min(block[1], stop) - max(block[0], start), 0.0) * block[2] / 3600


def name(found: LoadSharesFindings, currents_a: dict[str, float]) -> tuple[NamedLoad, ...]:
    """What the owner would name: the load on the list whose current is that of the one he knows, if there is one."""
    named = []
    for what, current_a in currents_a.items():
        fits = [s for s in found.loads if abs(log(s.current_a.value / current_a)) < 0.15]
        if fits:
            load = max(fits, key=lambda s: s.count * s.run_s)
            named.append(NamedLoad(what, load.number, load.current_a.value, load.run_s))
    return tuple(named)


def live(seed: int, days: int, step_s: float, with_solar: bool = False) -> Life:
    """Run a vehicle through its days."""
    random = Random(seed)
    base = next(iter(vehicles("lead healthy", 1, seed=seed, days=days)))
    made = blocks(random, days)
    plan = replace(base, name=f"van {seed}", days=float(days), house=replace(base.house, label_ah=240.0),
                   panel_w=random.uniform(250.0, 450.0), fridge_a=random.uniform(2.8, 4.4), fridge_size=random.uniform(0.6, 1.1),
                   extra_a=tuple(b for blocks_of in made.values() for b in blocks_of),
                   sensor=replace(base.sensor, with_solar=with_solar))
    vehicle, life = owner(plan), Life()
    held = pipeline.begin(vehicle)
    fridge_ah = 0.0

    def samples() -> Iterator:
        nonlocal fridge_ah
        for sample, state in journey(plan, step_s, days):
            fridge_ah += state.fridge_current_a * step_s / 3600
            yield replace(sample, year_day=180.0)

    next_day, spent, count = DAY_S, 0.0, 0
    day_fridge = 0.0
    for minute in minutes(samples()):
        started = time.process_time()
        held, found = pipeline.step(held, minute, vehicle)
        spent += time.process_time() - started
        count += 1
        if minute.end_s >= next_day + 60:
            life.found.append(found.named)
            life.truth_ah["fridge"].append(fridge_ah - day_fridge)
            day_fridge = fridge_ah
            for what, blocks_of in made.items():
                life.truth_ah[what].append(sum(_overlap(b, next_day - DAY_S, next_day) for b in blocks_of))
            next_day += DAY_S
            if len(life.found) == NAMED_ON_DAY:
                currents = {"fridge": plan.fridge_a, **{what: b[0][2] for what, b in made.items()}}
                named = name(found.named, currents)
                vehicle = replace(vehicle, named_loads=named)
                life.names = len(named)
    life.us, life.vehicle = 1e6 * spent / count, vehicle
    return life


def shares(found: LoadSharesFindings) -> dict[str, LoadShare]:
    """The named loads by name."""
    return {share.name: share for share in found.loads if share.name}


def main(arguments: list[str]) -> None:
    count = int(arguments[0]) if arguments else 6
    days = int(arguments[1]) if len(arguments) > 1 else 8
    for step_s in [float(a) for a in arguments[2:]] or [30.0]:
        for with_solar in (False, True):
            print(f"every {step_s:.0f} s, {'with' if with_solar else 'without'} a solar meter")
            errors, widths, inside, all_of = defaultdict(list), defaultdict(list), defaultdict(int), defaultdict(int)
            for seed in range(count):
                life = live(seed, days, step_s, with_solar)
                lines = []
                for what in LOADS:
                    for day in range(NAMED_ON_DAY, days - 1):
                        all_of[what] += 1
                        share = shares(life.found[day]).get(what)
                        if share is None or not isinstance(share.yesterday_ah, Estimate):
                            continue
                        took, truth = share.yesterday_ah, life.truth_ah[what][day]
                        errors[what].append(took.value - truth)
                        widths[what].append(took.high - took.low)
                        inside[what] += took.low <= truth <= took.high
                    usual = shares(life.found[-1]).get(what)
                    mean = sum(life.truth_ah[what][-7:]) / len(life.truth_ah[what][-7:])
                    lines.append(f"{what} {mean:5.1f} " + ("not named" if usual is None else "-" if not isinstance(
                        usual.usual_ah_per_day, Estimate) else f"{usual.usual_ah_per_day.value:5.1f} ({usual.usual_ah_per_day.low:.1f}-"
                        f"{usual.usual_ah_per_day.high:.1f})"))
                print(f"  {seed}: {life.us:4.0f} us; " + "; ".join(lines) + f"; {len(life.found[-1].loads)} loads on the list", flush=True)
            for what in LOADS:
                got = errors[what]
                if got:
                    print(f"  {what:8s} days {len(got)} of {all_of[what]}; rms {(sum(e * e for e in got) / len(got)) ** 0.5:.2f} Ah, bias "
                          f"{sum(got) / len(got):+.2f}, inside {inside[what] / len(got):.2f}, width {sum(widths[what]) / len(got):.2f} Ah")


if __name__ == "__main__":
    main(sys.argv[1:])
