"""Batteries that are a source behind a resistance and a slow part, with a fridge that comes and goes: resistance beside the truth."""
from functools import cache
from math import exp
from random import Random

from monitor import pipeline
from monitor.battery.label import Battery, Vehicle
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from tests.intervals.tally import Tally

SEED = 1704
BATTERIES, DAYS, BEAT_S = 8, 1.0, 20.0


def _samples(r: Random, ohm: float, capacity_ah: float):
    """A fridge by day and night, lamps in the evening; the source falls with the charge, a slow part follows in ten minutes."""
    charge, slow_v, at_s, on = r.uniform(0.8, 0.98), 0.0, 0.0, False
    gain, zero_a, turn_s = 1.0 + r.gauss(0.0, 0.001), r.uniform(-0.05, 0.05), 600.0
    fridge_a, lamps_a = r.uniform(3.0, 6.0), r.uniform(1.0, 3.0)
    while at_s < DAYS * 86400.0:
        at_s += BEAT_S
        if at_s > turn_s:
            on, turn_s = not on, at_s + r.uniform(500.0, 1000.0) * (1.0 if not on else 1.6)
        amps = -0.2 - (fridge_a if on else 0.0) - (lamps_a if 19.0 < at_s / 3600.0 % 24.0 < 23.0 else 0.0)
        charge += amps * BEAT_S / 3600.0 / capacity_ah
        slow_v += (0.3 * ohm * amps - slow_v) * (1.0 - exp(-BEAT_S / 600.0))
        volts = 11.9 + charge + ohm * amps + slow_v
        yield Sample(at_s, round((volts * gain + r.gauss(0.0, 0.002)) / 0.00125) * 0.00125,
                     round((amps + zero_a + r.gauss(0.0, 0.01)) / 0.005) * 0.005, 12.7, 20.0, hour=at_s / 3600.0 % 24.0)


@cache
def resistances() -> Tally:
    """What is shown every three hours from noon on, in shares of the resistance."""
    tally = Tally()
    for i in range(BATTERIES):
        r = Random(f"{SEED}/{i}")
        capacity_ah = r.uniform(70.0, 180.0)
        ohm = r.uniform(0.5, 1.2) / capacity_ah
        vehicle = Vehicle(Battery("house", "agm", capacity_ah), Battery("starter", "agm", 70.0))
        held = pipeline.begin(vehicle)
        for minute in minutes(_samples(r, ohm, capacity_ah)):
            held, found = pipeline.step(held, minute, vehicle, pipeline.with_dependencies({"charge"}))
            if minute.end_s >= 43200.0 and minute.end_s % 10800.0 == 0.0:
                tally.add(ohm, found.charge.resistance_ohm, ohm)
    return tally
