"""Health against truth: recorded half-years, resistance growth of simulated ones, verdicts on records, what-if and speed.

    python -m tests.benchmarks.bench_health [drives growth verdicts speed]

drives : the two recorded half-years through charge and health trackers, every reading
growth : simulated vehicles whose resistance grows 1.0 to 3.0 times, through the health tracker, told a charge that is
    off by a few points (the charge filter is measured elsewhere, and would take most of the time)
verdicts : ensembles of half-years at the level of weekly records, with noise of the size that `drives` shows
speed : a verdict over 26 weeks of minutes, and a what-if of 60 days
"""
import sys
import time
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from math import exp
from pathlib import Path
from random import Random

from drivers.vehicle import Plan
from monitor.battery.label import Battery, Vehicle
from monitor.estimation import house_charge as charge
from monitor.findings import ChargeFindings, Estimate, JoinFindings, NotYet
from monitor.planning import whatif
from monitor.planning.load_profile import Slot
from monitor.planning.model import Setup
from monitor.process.replay import samples
from monitor.sampling.gather import minutes
from monitor.wear import health
from monitor.wear.verdict import judge
from monitor.wear.week import Week
from tests.benchmarks.ensemble import half_years, journey, owner, true_growth

RECORDINGS = Path(__file__).parent.parent / "recordings"
WEEK_S = 7 * 86400.0
GROWTHS = (1.0, 1.3, 1.8, 2.4, 3.0)


def main(wanted: list[str]) -> None:
    for name, run in (("drives", drives), ("growth", growth), ("verdicts", verdicts), ("speed", speed)):
        if not wanted or name in wanted:
            print(f"-- {name}", flush=True)
            run()


def drives() -> None:
    """Usable charge from week 4 on: rms and coverage of the interval; when each verdict came."""
    import pandas as pd

    for name in ("fade-26-weeks", "fade-26-weeks-sound"):
        folder = RECORDINGS / name
        told = tomllib.loads((folder / "scenario.toml").read_text())
        vehicle = Vehicle(Battery("house", "agm", told["rated_ah"], 20.0, told["absorption_v"], told["float_v"], 0.2),
                          Battery("starter", "agm", 60.0))
        truth = pd.read_csv(folder / "truth.csv.gz", usecols=["t_s", "capacity_ah"])
        size = dict(zip((truth.t_s // 3600).astype(int), truth.capacity_ah))
        held, aged, words, misses, inside, steps = charge.begin(vehicle), health.begin(), [], [], 0, 0
        begun, count = time.perf_counter(), 0
        for minute in minutes(samples(folder / "readings.csv.gz", None, vehicle.house.rated_capacity_ah)):
            held = charge.update(held, minute, vehicle, JoinFindings())
            before = aged
            aged = health.update(aged, minute, vehicle, charge.findings(held, vehicle))
            steps += 1
            if aged.weeks is not before.weeks:
                week = aged.weeks[-1]
                true = size[int(minute.end_s // 3600)]
                words.append((len(words) + 1, aged.judged.word, true / told["rated_ah"]))
                if len(words) > 4 and week.capacity_ah is not None:
                    misses.append(week.capacity_ah / true - 1)
                    inside += week.capacity_low_ah <= true <= week.capacity_high_ah
                    count += 1
        rms = (sum(m * m for m in misses) / count) ** 0.5
        changes = [w for k, w in enumerate(words) if k == 0 or w[1] != words[k - 1][1]]
        grown = aged.judged.resistance_growth_ratio
        print(f"{name:22} usable charge rms {100 * rms:.1f} % coverage {100 * inside / count:.0f} % of {count} weeks, last "
              f"{100 * misses[-1]:+.1f} %; "
              f"resistance {_shown(grown)}; {time.perf_counter() - begun:.0f} s for {steps} readings")
        print("   " + "; ".join(f"week {k}: {word} ({100 * true:.0f} % left)" for k, word, true in changes))


def _shown(grown) -> str:
    return f"{grown.value:.2f} ({grown.low:.2f} to {grown.high:.2f})" if isinstance(grown, Estimate) else grown.because


def grown_plans(factor: float, count: int, case: str, seed: int = 0) -> Iterator[Plan]:
    """Half-years of one case with another growth of resistance."""
    for plan in half_years(case, count, seed):
        yield replace(plan, house=replace(plan.house, resistance_end_factor=factor))


def health_of(plan: Plan, step_s: float = 120.0, days: float | None = None, charge_sigma: float = 0.03,
              seed: int = 1) -> health.HealthState:
    """The health tracker over a journey, told the true charge with an error that comes and goes within days."""
    chance, vehicle = Random(seed), owner(plan)
    held, off, truth = health.begin(), chance.gauss(0, charge_sigma), []

    def told():
        for sample, state in journey(plan, step_s, days):
            truth.append((state.house_soc_frac, state.house_capacity_ah))
            yield sample

    for minute in minutes(told()):
        soc, size = truth[-1]
        off += -off / 2000 + chance.gauss(0, charge_sigma * (2 / 2000) ** 0.5)
        level = min(max(soc + off, 0.0), 1.0)
        found = ChargeFindings(Estimate(level, level, level, "counting"), Estimate(size, 0.92 * size, 1.08 * size, "learnt"),
                               *[NotYet("")] * 4)
        held = health.update(held, minute, vehicle, found)
    return held


def growth(count: int = 2, cases: tuple[str, ...] = ("reservoir fades", "plates fade", "lithium fades")) -> None:
    """Growth seen over growth that was, from the middle of the first week that had load steps enough to that of the last."""
    ratios: list[float] = []
    inside = known = 0
    for case in cases:
        for factor in GROWTHS:
            for k, plan in enumerate(grown_plans(factor, count, case)):
                begun = time.perf_counter()
                held = health_of(plan, seed=k)
                found = held.judged.resistance_growth_ratio
                truth = true_growth(plan, held.levels[0].at_s, held.levels[-1].at_s)
                if isinstance(found, Estimate):
                    ratios.append(found.value / truth)
                    known += 1
                    inside += found.low <= truth <= found.high
                print(f"{case:16} {plan.house.label_ah:4.0f} Ah true {truth:.2f} seen {_shown(found)} "
                      f"{100 * (ratios[-1] - 1):+.0f} %  {time.perf_counter() - begun:.0f} s", flush=True)
    print(f"within 8 %: {sum(abs(r - 1) < 0.08 for r in ratios)} of {known}; rms "
          f"{100 * (sum((r - 1) ** 2 for r in ratios) / known) ** 0.5:.1f} %; "
          f"in the interval {inside} of {known}")


def verdicts(count: int = 200) -> None:
    """Replace on batteries that keep 85 % and more; when the faded ones are first watched or replaced."""
    house = Battery("house", "agm", 100.0)
    wrong = late = 0
    first: list[float] = []
    for k in range(count):
        chance = Random(f"verdict/{k}")
        sound = _records(chance, chance.uniform(0.93, 1.05), chance.uniform(0.85, 0.92), chance.uniform(1.0, 2.0))
        wrong += any(judge(sound[:n], house).word == "replace" for n in range(1, 27))
        faded = _records(chance, chance.uniform(0.93, 1.02), chance.uniform(0.60, 0.74), chance.uniform(1.5, 2.6))
        seen = next((n for n in range(1, 27) if judge(faded[:n], house).word in ("watch", "replace")), None)
        true = None if seen is None else faded[seen - 1].charge_out_ah
        late += true is None or true < 0.75
        first += [] if true is None else [true]
    first.sort()
    print(f"replace on 85 % and more: {wrong} of {count}; faded, watch or replace only after 75 %: {late} of {count}; "
          f"first word at {100 * first[len(first) // 2]:.0f} % (median), {100 * first[len(first) // 20]:.0f} % (worst twentieth)")


def _records(chance: Random, begin: float, end: float, ohms: float) -> tuple[Week, ...]:
    """Weekly records; the truth rides along in charge_out_ah. Errors of a record last for weeks: 5 % lasting, 2 % fresh."""
    off, found = chance.gauss(0, 0.05), []
    for k in range(26):
        true = begin + (end - begin) * k / 25
        off += -off / 8 + chance.gauss(0, 0.05 * (2 / 8) ** 0.5)
        size = 100 * true * exp(off + chance.gauss(0, 0.02))
        ohm = 0.006 * (1 + (ohms - 1) * k / 25) * exp(chance.gauss(0, 0.03))
        found.append(Week(k * WEEK_S, ohm, 0.02 * ohm, size, size * 0.89, size * 1.11, 18.0, 0.3, 1.0, true))
    return tuple(found)


def speed() -> None:
    """Seconds of this processor for the verdict over 26 weeks of minutes, and for a candidate over 60 days and 100 draws."""
    vehicle = Vehicle(Battery("house", "agm", 100.0), Battery("starter", "flooded", 70.0))
    plan = next(half_years("sound", 1))
    kept = list(minutes(sample for sample, _ in journey(plan, 60.0, 14.0)))
    found = ChargeFindings(Estimate(0.9, 0.85, 0.95, "counting"), Estimate(95.0, 88.0, 102.0, "learnt"), *[NotYet("")] * 4)
    held, begun = health.begin(), time.process_time()
    for block in range(13):
        for minute in kept:
            shifted = replace(minute, start_s=minute.start_s + block * 14 * 86400.0, end_s=minute.end_s + block * 14 * 86400.0)
            held = health.update(held, shifted, vehicle, found)
    print(f"health over {len(held.weeks)} weeks of minutes: {time.process_time() - begun:.1f} s (10 allowed)")
    begun = time.process_time()
    for _ in range(100):
        judge(held.weeks, vehicle.house)
    print(f"the verdict itself from the weekly records: {10 * (time.process_time() - begun):.1f} ms")
    chance = Random(1)
    life = [Slot(k / 4 % 24, 1.5 + chance.random(), max(8.0 - abs(k / 4 % 24 - 12), 0.0) * chance.random()) for k in range(60 * 96)]
    known = whatif.KnownBattery(Setup("as it is", "agm", 100.0), 0.8, 0.05)
    begun = time.process_time()
    whatif.ask(life, known, [replace(known.setup, capacity_ah=200.0)], 0.0)
    print(f"what-if, 60 days x {whatif.DRAWS} draws: {(time.process_time() - begun) / 2:.1f} s a candidate (10 allowed)")


if __name__ == "__main__":
    main(sys.argv[1:])
