"""The starter watch over random vehicles: drains, false alarms of each kind, join and engine, path, starts.

    python -m tests.benchmarks.bench_starter [VEHICLES-A-ROW [SEED]]      (4 and 1 unless given: some ten minutes)
"""
import csv
import gzip
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np

from monitor.battery.frost import density_of_kg_l, freezing_point_c
from monitor.battery.label import Battery, Vehicle
from monitor.detection.starter import crank, starter
from monitor.findings import JoinFindings
from monitor.sample import Minute
from tests.benchmarks import join_scores, parkings

SEASONS = ("summer", "spring", "heat", "frost")
SIZES = ((0.03, 0.045), (0.06, 0.085), (0.15, 0.22), (0.5, 0.8), (2.0, 3.0))
GOAL_H = (None, 30, 20, 7, 3)
ALONE, DRIVING = JoinFindings("open", "off"), JoinFindings("closed", "running")
QUARTER_S = 900.0
TRACES = Path(__file__).parent.parent / "recordings" / "crank"


def vehicle(plate: parkings.Build, house: str = "agm") -> Vehicle:
    return Vehicle(Battery("house", house, 100), Battery("starter", plate.chemistry, plate.label_ah))


def park(held: starter.StarterState, parked: parkings.Parking, car: Vehicle, begun_s: float):
    """A drive of half an hour, then one parking by quarter-hours: the state, the drain found first, kinds raised.

    The drain comes as (hour, drain), None where there was none; the kinds with their hours.
    """
    found, raised, active = None, [], set()
    house_v = 13.3 if not car.house.lead_acid else 12.6
    for k in (2, 1):
        minute = Minute(begun_s - k * QUARTER_S, begun_s - (k - 1) * QUARTER_S, (), starter_voltage_v=14.2)
        held = starter.update(held, minute, car, DRIVING)
    for k in range(1, len(parked.hours)):
        warm = None if parked.thermometer_c is None else float(parked.thermometer_c[k])
        at_s = begun_s + 3600 * float(parked.hours[k])
        held = starter.update(held, Minute(
            at_s - QUARTER_S, at_s, (), starter_voltage_v=float(parked.voltage_v[k]), house_voltage_v=house_v,
            ambient_temperature_c=warm), car, ALONE)
        now = {c.kind for c in starter.conditions(held, car) if c.active}
        raised += [(float(parked.hours[k]), kind) for kind in now - active]
        active = now
        if held.parking.found is not None and found is None:
            found = (float(parked.hours[k]), held.parking.found)
    over = Minute(at_s, at_s + QUARTER_S, (), starter_voltage_v=14.2)
    return starter.update(held, over, car, DRIVING), found, raised


def _true(kind: str, hour: float, parked: parkings.Parking) -> bool:
    """Whether an alarm about level or frost is right by the truth of the plant."""
    k = min(int(hour / parkings.QUARTER_H), len(parked.hours) - 1)
    charge = float(parked.charge_frac[k])
    if kind in ("starter_low", "will_not_start", "starter_under_voltage"):
        return charge < 0.6
    if kind == "starter_freeze_risk":
        return float(parked.battery_c[max(0, k - 24):k + 24].min()) < freezing_point_c(
            density_of_kg_l(Battery("house", "flooded", 100.0), charge)) + 8.0
    return False


def false_alarms(seed: int, vehicles: int) -> None:
    print(f"sound parkings ({vehicles} vehicles a row; each: a long one, four short and three long ones; a third old "
          "batteries, half busy)")
    rng = np.random.default_rng(seed)
    total_days, everything, parked_count = 0.0, Counter(), 0
    for season in SEASONS:
        for thermometer in ("house", "air", "none"):
            days, said, notes, count = 0.0, Counter(), [], 0
            for i in range(vehicles):
                plate = parkings.build(rng, old=i % 3 == 2)
                car, held, at_s = vehicle(plate, ("agm", "flooded", "gel", "lfp")[i % 4]), starter.begin(), 0.0
                for long in (6, 0.7, 1.2, 0.5, 2.2, 6, 3, 8):
                    parked = parkings.parking(rng, plate, long, season, thermometer=thermometer,
                                              busy=long < 3 or i % 2 == 1)
                    held, found, raised = park(held, parked, car, at_s)
                    at_s += (long + 0.2) * 86400
                    days += long
                    count += 1
                    said += Counter(kind for hour, kind in raised if not _true(kind, hour, parked))
                    if found is not None:
                        notes.append(f"{found[1].how}@{found[0]:.0f}h/{1000 * found[1].extra_a:.0f}mA")
            total_days += days
            everything += said
            parked_count += count
            print(f"  {season:7s} {thermometer:6s} {count:4d} parkings {days:6.0f} d  false {dict(said) or 0}  "
                  + " ".join(notes[:8]), flush=True)
    print(f"  all: {parked_count} parkings, {total_days / 365:.1f} parked years; false a year: "
          + (", ".join(f"{kind} {365 * n / total_days:.2f}" for kind, n in everything.items()) or "none"))


def delays(seed: int, each: int, thermometer: str, learnt: bool, from_start: bool = False) -> None:
    rng = np.random.default_rng(seed)
    print(f"drain from {'the very start' if from_start else 'mid-park (24 to 96 h)'}, thermometer {thermometer}, "
          f"{'own usual' if learnt else 'first parking'}")
    for (low, high), goal in zip(SIZES, GOAL_H):
        late, early, said, level = [], 0, [], []
        for i in range(each):
            plate = parkings.build(rng, old=i % 4 == 3)
            car, held = vehicle(plate), starter.begin()
            season = SEASONS[i % 4]
            if learnt:
                for _ in range(4):
                    held, _, _ = park(held, parkings.parking(rng, plate, 2.5, season, thermometer=thermometer), car, 0.0)
            amps, onset = rng.uniform(low, high), 0.0 if from_start else rng.uniform(24, 96)
            days = onset / 24 + (4 if low < 0.1 else 2)
            parked = parkings.parking(rng, plate, days, season, amps, onset, thermometer)
            held, found, raised = park(held, parked, car, 0.0)
            low_h = min((hour - onset for hour, kind in raised if kind == "starter_low" and hour >= onset), default=np.inf)
            level.append(low_h)
            if found is None:
                late.append(np.inf)
            elif found[0] < onset:
                early += 1
            else:
                late.append(found[0] - onset)
                said.append(float(found[1].low_a <= amps <= found[1].high_a))
        q = np.quantile(np.array(late), [0.5, 0.9], method="inverted_cdf") if late else [np.nan, np.nan]
        within = np.mean(np.array(late) <= goal) if goal else np.nan
        low_q = np.quantile(level, 0.5, method="inverted_cdf")
        print(f"  {1000 * low:5.0f}-{1000 * high:4.0f} mA  median {q[0]:6.1f} h  90 % {q[1]:6.1f} h  "
              f"within goal {within:4.0%}  missed {np.sum(np.isinf(late))}/{each}  before onset {early}  "
              f"range holds {np.mean(said) if said else 0:.0%}  by level (median) {low_q:.0f} h", flush=True)


def starts() -> Counter:
    """Recorded starts sorted: (truth, verdict) -> how many."""
    with open(TRACES / "truth.csv", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    sorted_as: Counter = Counter()
    for row in rows:
        with gzip.open(TRACES / row["file"], "rt", encoding="utf-8") as file:
            trace = tuple((float(r[0]), float(r[1])) for r in list(csv.reader(file))[1:])
        sorted_as[row["condition"], crank.judge(trace, None).verdict] += 1
    return sorted_as


def main(arguments: list[str] | None = None) -> None:
    scale = int(arguments[0]) if arguments else 4
    seed = int(arguments[1]) if arguments and len(arguments) > 1 else 1
    for thermometer, learnt in (("house", False), ("house", True), ("none", False)):
        delays(seed + 1, 5 * scale, thermometer, learnt)
    delays(seed + 2, 4 * scale, "house", True, from_start=True)
    false_alarms(seed, scale)
    for told in (False, True):
        join_scores.healthy(seed + 3, scale, 6, told)
        join_scores.faults(seed + 4, scale, told)
    join_scores.deaths(seed + 5, scale)
    accused = join_scores.heavy(seed + 6, 3 * scale, 3.0)
    print(f"much drawn after stops: {accused} of {3 * scale} sound vehicles accused of a dead alternator")
    print("recorded starts: " + ", ".join(f"{truth} said {said or 'nothing'} {n}" for (truth, said), n in starts().items()))


if __name__ == "__main__":
    started = time.perf_counter()
    main(sys.argv[1:])
    print(f"{time.perf_counter() - started:.0f} s")
