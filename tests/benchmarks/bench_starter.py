"""Drain test over an ensemble of random parkings: delay per size, false alarms per parked year."""
import sys
import time
from collections import defaultdict
from dataclasses import replace

import numpy as np

from monitor.battery import Battery, Vehicle
from monitor.trackers import starter
from tests.benchmarks import parkings

SEASONS = ("summer", "spring", "heat", "frost")
SIZES = ((0.03, 0.045), (0.06, 0.085), (0.15, 0.22), (0.5, 0.8), (2.0, 3.0))
GOAL_H = (None, 30, 20, 7, 3)


def vehicle(plate: parkings.Build, chemistry: str = "agm") -> Vehicle:
    return Vehicle(Battery("house", "agm", 100), Battery("starter", chemistry, plate.label_ah))


def park(held: starter.Held, parked: parkings.Parking, car: Vehicle, begun_s: float):
    """Feed one parking's quarter-hours; return the state, and when and as what a drain was found."""
    held = replace(held, alone_s=begun_s, parking=starter.Parking())
    found = None
    for k in range(4, len(parked.hours)):
        warm = None if parked.thermometer_c is None else float(parked.thermometer_c[k])
        at_s, volts = begun_s + 3600 * float(parked.hours[k]), float(parked.voltage_v[k])
        held = replace(held, now=starter.Now(at_s, volts, warm, None, "open", "off"))
        held = starter.quarter_hour(held, at_s, volts, car)
        if held.parking.found is not None and found is None:
            found = (float(parked.hours[k]), held.parking.found)
    return replace(held, usual=starter.learnt(held.usual, held.parking)), found


def false_alarms(seed: int, vehicles: int) -> None:
    print(f"sound parkings ({vehicles} vehicles a row, each a first long, four short and three long ones)")
    rng = np.random.default_rng(seed)
    total_days, total = 0.0, 0
    for season in SEASONS:
        for thermometer in ("house", "air", "none"):
            days, alarms, notes, longs = 0.0, 0, [], 0
            for i in range(vehicles):
                plate = parkings.build(rng, old=i % 3 == 2)
                car, held, at_s = vehicle(plate), starter.begin(None), 0.0
                for long in (6, 0.7, 1.2, 0.5, 2.2, 6, 3, 8):
                    parked = parkings.parking(rng, plate, long, season, thermometer=thermometer,
                                              busy=long < 3 or i % 2 == 1)
                    held, found = park(held, parked, car, at_s)
                    at_s += (long + 0.2) * 86400
                    days += long
                    longs += 1
                    if found is not None:
                        alarms += 1
                        notes.append(f"{found[1].how}@{found[0]:.0f}h/{1000 * found[1].extra_a:.0f}mA")
            total_days += days
            total += alarms
            print(f"  {season:7s} {thermometer:6s} {longs:4d} parkings {days:6.0f} d  false {alarms:3d}  "
                  + " ".join(notes[:8]))
    print(f"  all: {total} in {total_days / 365:.1f} parked years = {365 * total / total_days:.2f} a year")


def delays(seed: int, each: int, thermometer: str, learnt: bool) -> None:
    rng = np.random.default_rng(seed)
    print(f"drain from mid-park (24 to 96 h), thermometer {thermometer}, {'own usual' if learnt else 'first parking'}")
    for (low, high), goal in zip(SIZES, GOAL_H):
        late, early, said = [], 0, []
        for i in range(each):
            plate = parkings.build(rng, old=i % 4 == 3)
            car, held = vehicle(plate), starter.begin(None)
            season = SEASONS[i % 4]
            if learnt:
                for _ in range(4):
                    held, _ = park(held, parkings.parking(rng, plate, 2.5, season, thermometer=thermometer), car, 0.0)
            amps, onset = rng.uniform(low, high), rng.uniform(24, 96)
            days = onset / 24 + (4 if low < 0.1 else 2)
            parked = parkings.parking(rng, plate, days, season, amps, onset, thermometer)
            held, found = park(held, parked, car, 0.0)
            if found is None:
                late.append(np.inf)
            elif found[0] < onset:
                early += 1
            else:
                late.append(found[0] - onset)
                said.append(float(found[1].low_a <= amps <= found[1].high_a))
        q = np.quantile(np.array(late), [0.5, 0.9], method="inverted_cdf") if late else [np.nan, np.nan]
        within = np.mean(np.array(late) <= goal) if goal else np.nan
        print(f"  {1000 * low:5.0f}-{1000 * high:4.0f} mA  median {q[0]:6.1f} h  90 % {q[1]:6.1f} h  "
              f"within goal {within:4.0%}  missed {np.sum(np.isinf(late))}/{each}  before onset {early}  "
              f"range holds {np.mean(said) if said else 0:.0%}")


def main(arguments: list[str] | None = None) -> None:
    scale = int(arguments[0]) if arguments else 4
    seed = int(arguments[1]) if arguments and len(arguments) > 1 else 1
    for thermometer, learnt in (("house", False), ("house", True), ("none", False)):
        delays(seed + 1, 5 * scale, thermometer, learnt)
    false_alarms(seed, scale)


if __name__ == "__main__":
    started = time.perf_counter()
    main(sys.argv[1:])
    print(f"{time.perf_counter() - started:.0f} s")
