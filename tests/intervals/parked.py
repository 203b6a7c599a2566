"""Starter batteries left alone, and joins that close and open: drain, resting voltage and the path's resistance beside the truth."""
from functools import cache

import numpy as np

from monitor.detection.starter import starter
from monitor.findings import Estimate, JoinFindings, StarterFindings
from monitor.sample import Minute
from tests.benchmarks import join_scores, outings, parkings
from tests.benchmarks.bench_starter import SEASONS, vehicle
from tests.intervals.tally import Tally

SEED = 1702
PARKINGS, RIGS = 40, 18
QUARTER_S = 900.0
ONSET_H = 44.0


def _stand(build: parkings.Build, parked: parkings.Parking) -> list[StarterFindings]:
    """What is shown at the end of every quarter of an hour of a parking, after a drive of half an hour."""
    car, held, shown = vehicle(build), starter.begin(), []
    driving, alone = JoinFindings("closed", "running"), JoinFindings("open", "off")
    for k in (2, 1):
        minute = Minute(-k * QUARTER_S, (1 - k) * QUARTER_S, (), starter_voltage_v=14.2)
        held = starter.update(held, minute, car, driving)
    for hour, volts, warm_c in zip(parked.hours[1:], parked.voltage_v[1:], (
            [None] * len(parked.hours) if parked.thermometer_c is None else parked.thermometer_c[1:])):
        at_s = 3600.0 * float(hour)
        minute = Minute(at_s - QUARTER_S, at_s, (), starter_voltage_v=float(volts), house_voltage_v=12.6,
                        ambient_temperature_c=None if warm_c is None else float(warm_c))
        held = starter.update(held, minute, car, alone)
        shown.append(starter.findings(held, car))
    return shown


@cache
def drains() -> tuple[Tally, Tally]:
    """Half of the parkings with a drain of 0.06 to 1 A from the second evening on: what is shown of the drain in the hours
    after it was found, in shares of it; and of the others what is shown on the last day, in amperes.

    What leaves the battery is the drain, the vehicle's standby current, and what the battery loses by itself.
    """
    found, usual = Tally(), Tally()
    for i in range(PARKINGS):
        rng = np.random.default_rng((SEED, 1, i))
        build = parkings.build(rng, old=i % 4 == 3)
        amps = float(np.exp(rng.uniform(np.log(0.06), np.log(1.0)))) if i % 2 else 0.0
        parked = parkings.parking(rng, build, 4.0, SEASONS[i // 2 % 4], amps, ONSET_H if amps else None, ("house", "air", "none")[i % 3])
        shown = _stand(build, parked)
        own_a = build.capacity_ah * build.self_per_month / 720.0 * 2.0 ** ((float(parked.battery_c.mean()) - 20.0) / 10.0)
        leaves_a = amps + build.standby_a + own_a
        if amps:
            said = [s.drain_a for s in shown if isinstance(s.drain_a, Estimate) and s.drain_a.basis == "measured"]
            for drain in said[:1] + said[24:25] + said[-1:]:
                found.add(leaves_a, drain, leaves_a)
        else:
            for k in (-96, -48, -1):
                usual.add(leaves_a, shown[k].drain_a)
    return found, usual


@cache
def paths() -> Tally:
    """Sound vehicles with a relay, some days of drives: the resistance of the path, in shares of it."""
    tally = Tally()
    for i in range(RIGS):
        rng = np.random.default_rng((SEED, 2, i))
        rig = outings.rig(rng, ("engine", "voltage", "dual")[i % 3], spacing_s=float(rng.choice([10.0, 30.0])))
        lived = join_scores.live(rig, outings.outing(rng, rig, 1.5))
        if lived.path is not None:
            tally.add(rig.path_ohm, lived.path, rig.path_ohm)
    return tally
