"""Parked vehicles drawn at random: what the account of a stay says of drain and self-discharge, and how long a start lasts.

    python -m tests.benchmarks.bench_parked [PARKINGS [SEED]]      (200 and 1 unless given: about two minutes)
"""
import sys
from dataclasses import dataclass

import numpy as np

from monitor.battery.label import Battery, Vehicle
from monitor.detection.starter import starter
from monitor.findings import Estimate, JoinFindings
from monitor.planning import parked, parked_return
from monitor.planning.parked_return import Hour
from monitor.sample import Minute
from tests.benchmarks import parkings

ALONE = JoinFindings("open", "off")
#: A drain on top of the vehicle's own standby that must be recognised as one, and what may not be claimed of a sound vehicle [A].
REAL_A, SOUND_A = 0.05, 0.035
#: The forecast is asked for after so long [days].
SEEN_DAYS = 5


@dataclass
class Score:
    """Counts over all parkings."""

    parkings: int = 0
    lost_within: int = 0
    drain_within: int = 0
    real: int = 0
    real_told: int = 0
    sound: int = 0
    sound_accused: int = 0
    forecasts: int = 0
    forecasts_within: int = 0


def main(arguments: list[str]) -> None:
    count, seed = (int(a) for a in (arguments + ["200", "1"][len(arguments):])[:2])
    s = score(count, seed)
    print(f"{s.parkings} parkings: lost charge within its range {s.lost_within}, drain within its range {s.drain_within}")
    print(f"drains of {1000 * REAL_A:.0f} mA and more on top recognised as drain: {s.real_told} of {s.real}; "
          f"sound vehicles accused of more than {1000 * SOUND_A:.0f} mA: {s.sound_accused} of {s.sound}")
    print(f"days until a start is doubtful, forecast after {SEEN_DAYS} days: within the range {s.forecasts_within} of {s.forecasts}")


def score(count: int, seed: int, forecasts: bool = True) -> Score:
    """Scores so many parkings; one battery in five is old, and none is flat at the end."""
    rng, found = np.random.default_rng(seed), Score()
    while found.parkings < count:
        plate = parkings.build(rng, old=found.parkings % 5 == 0)
        days, drain_a = float(rng.choice([7, 14, 28])), float(rng.choice([0, 0, 0.05, 0.1, 0.3]))
        parking = parkings.parking(rng, plate, days, str(rng.choice(["summer", "spring", "frost"])), drain_a, 0.0 if drain_a else None,
                                   thermometer=str(rng.choice(["house", "none"])))
        if parking.charge_frac[-1] < 0.05:
            continue
        found.parkings += 1
        vehicle = Vehicle(Battery("house", "agm", 100.0), Battery("starter", plate.chemistry, round(plate.label_ah)))
        stay = parked_return.latest_stay(hours_of(parking), vehicle)
        loss = next(loss for loss in stay.losses if loss.name == "starter")
        lost_ah = (parking.charge_frac[0] - parking.charge_frac[-1]) * plate.capacity_ah
        found.lost_within += loss.lost_ah.low <= lost_ah <= loss.lost_ah.high
        found.drain_within += loss.drain_a.low <= plate.standby_a + drain_a <= loss.drain_a.high
        if drain_a >= REAL_A:
            found.real += 1
            found.real_told += loss.drain_a.low > 0.01
        else:
            found.sound += 1
            found.sound_accused += loss.drain_a.low > SOUND_A
        if forecasts and days == 28:
            _forecast(found, parking, plate, vehicle)
    return found


def hours_of(parking: parkings.Parking) -> list[Hour]:
    """The parking as the log keeps it, hour by hour."""
    warm = parking.thermometer_c
    return [Hour(900.0 * k, 900.0 * (k + 4), 0.0, float(np.mean(parking.voltage_v[k:k + 4])),
        None if warm is None else float(np.mean(warm[k:k + 4])))
            for k in range(0, len(parking.hours) - 3, 4)]


def _forecast(found: Score, parking: parkings.Parking, plate: parkings.Build, vehicle: Vehicle) -> None:
    """What the plan says after some days of rest, against the day at which the battery rests at 12.2 V."""
    state, seen = starter.begin(), SEEN_DAYS * 96
    for k in range(seen):
        minute = Minute(900.0 * k, 900.0 * (k + 1), (), starter_voltage_v=float(parking.voltage_v[k]), house_voltage_v=12.6,
                        starter_temperature_c=None if parking.thermometer_c is None else float(parking.thermometer_c[k]))
        state = starter.update(state, minute, vehicle, ALONE)
    answer = starter.findings(state, vehicle)
    if not isinstance(answer.charge_frac, Estimate) or not isinstance(answer.drain_a, Estimate):
        return
    plan = parked.plan_starter(vehicle.starter, answer.charge_frac, answer.drain_a, float(np.mean(parking.battery_c)))
    depth = 1 - parking.charge_frac
    rest_v = plate.full_v - plate.span_v * depth * (1 - plate.bend + plate.bend * 2 * depth)
    below = np.nonzero(rest_v < starter.DOUBTFUL_V)[0]
    left_days = (below[0] - seen) / 96 if len(below) else None
    found.forecasts += 1
    end_days = len(rest_v) / 96 - SEEN_DAYS
    found.forecasts_within += plan.limit_days.high >= end_days if left_days is None else (
        plan.limit_days.low <= max(left_days, 0.0) <= max(plan.limit_days.high, 0.5))


if __name__ == "__main__":
    main(sys.argv[1:])
