"""Starter batteries left alone, sound and draining, drawn at random: a plant of its own for the drain test.

It shares no formula with the trackers: surface charge decays as a stretched exponential, the rest
voltage bends with charge, self-discharge doubles per 10 K, the battery follows the air with a lag,
the meter drifts with temperature and quantises, and the vehicle wakes up, opens doors and plays radio.
"""
from dataclasses import dataclass

import numpy as np

QUARTER_H = 0.25


@dataclass(frozen=True)
class Build:
    """What stays the same from one parking of a vehicle to the next."""

    capacity_ah: float
    label_ah: float
    full_v: float
    span_v: float
    bend: float
    surface_v: float
    stretch: float
    decay_h: float
    standby_a: float
    self_per_month: float
    per_k: float
    meter_per_k: float
    meter_gain: float
    lag_h: float
    step_v: float
    noise_v: float
    resistance_ohm: float
    diffusion_ohm: float
    chemistry: str = "agm"


@dataclass(frozen=True)
class Parking:
    """Quarter-hour medians as a monitor gathers them, with the truth."""

    hours: np.ndarray
    voltage_v: np.ndarray
    thermometer_c: np.ndarray | None
    onset_h: float | None
    drain_a: float
    charge_frac: np.ndarray | None = None
    battery_c: np.ndarray | None = None


#: Lowest and highest voltage of a full battery at rest, and of the span down to empty.
KINDS = {"flooded": (12.55, 12.80, 0.85, 1.10), "agm": (12.75, 13.05, 0.95, 1.32), "gel": (12.70, 12.95, 0.95, 1.25)}


def build(rng: np.random.Generator, old: bool = False) -> Build:
    """A vehicle with its battery and meter; old ones lose more by themselves and hold less."""
    label = rng.uniform(40, 110)
    chemistry = str(rng.choice(list(KINDS)))
    full_low, full_high, span_low, span_high = KINDS[chemistry]
    return Build(
        capacity_ah=label * (rng.uniform(0.55, 0.85) if old else rng.uniform(0.8, 1.1)), label_ah=label,
        full_v=rng.uniform(full_low, full_high), span_v=rng.uniform(span_low, span_high), bend=rng.uniform(-0.1, 0.3),
        surface_v=rng.uniform(0.05, 0.75), stretch=rng.uniform(0.45, 0.85), decay_h=rng.uniform(0.8, 5),
        standby_a=rng.uniform(0.006, 0.030), self_per_month=rng.uniform(0.05, 0.12) if old else rng.uniform(0.01, 0.05),
        per_k=rng.uniform(0.8e-3, 1.8e-3), meter_per_k=rng.uniform(-60, 60) * 1e-6 * 12.7,
        meter_gain=rng.uniform(-0.002, 0.002), lag_h=rng.uniform(1.5, 7),
        step_v=rng.choice([0.00125, 0.004, 0.005, 0.01]),
        noise_v=rng.uniform(0.001, 0.004), resistance_ohm=rng.uniform(0.005, 0.015) * (1.5 if old else 1),
        diffusion_ohm=rng.uniform(0.003, 0.02), chemistry=chemistry,
    )


def air_c(rng: np.random.Generator, hours: np.ndarray, season: str) -> np.ndarray:
    """Outside air: a daily wave, weather that drifts, and a front now and then."""
    mean = {"summer": 24, "spring": 13, "heat": 33, "frost": -6}[season] + rng.normal(0, 3)
    swing = rng.uniform(3, 14)
    wander = np.zeros(len(hours))
    for k in range(1, len(hours)):
        wander[k] = 0.995 * wander[k - 1] + rng.normal(0, 0.15)
    front = rng.uniform(-9, 9) / (1 + np.exp(-(hours - rng.uniform(0, hours[-1])) / rng.uniform(3, 10)))
    phase = rng.uniform(0, 24)
    daily = np.sin(2 * np.pi * (hours - phase) / 24) + 0.25 * np.sin(4 * np.pi * (hours - phase) / 24 + 0.7)
    cloud = 1 + 0.3 * np.repeat(rng.normal(0, 1, len(hours) // 96 + 1), 96)[:len(hours)]
    return mean + swing / 2 * daily * np.clip(cloud, 0.2, 1.8) + wander + front


def parking(rng: np.random.Generator, plate: Build, days: float, season: str = "summer", drain_a: float = 0.0,
            onset_h: float | None = None, thermometer: str = "house", busy: bool = False) -> Parking:
    """One parking from the moment the engine stops.

    thermometer: "house" (inside the vehicle, sometimes heated), "air", or "none".
    """
    count = int(days * 24 / QUARTER_H)
    hours = np.arange(count) * QUARTER_H
    air = air_c(rng, hours, season)
    battery = np.empty(count)
    battery[0] = air[0] + rng.uniform(5, 30)
    for k in range(1, count):
        battery[k] = battery[k - 1] + (air[k] - battery[k - 1]) * QUARTER_H / plate.lag_h
    current = np.full(count, plate.standby_a) * (1 + 0.1 * rng.normal(0, 1, count))
    if drain_a and onset_h is not None:
        current[int(onset_h / QUARTER_H):] += drain_a
    uses = np.zeros(count)
    if busy:
        for _ in range(rng.poisson(days * 0.7)):
            first, long = rng.integers(0, count), rng.integers(1, 5)
            uses[first:first + long] += rng.uniform(0.5, 4)
    total = current + uses
    self_ah = plate.capacity_ah * plate.self_per_month / 30 / 24 * 2 ** ((battery - 20) / 10)
    start = rng.uniform(0.8, 1.0)
    depth = (1 - start) + np.cumsum((total + self_ah) * QUARTER_H) / plate.capacity_ah
    rest = plate.full_v - plate.span_v * depth * (1 - plate.bend + plate.bend * 2 * depth)
    used = np.cumsum(total * QUARTER_H) / plate.capacity_ah
    surface = plate.surface_v * rng.lognormal(0, 0.25) * np.exp(
        -(hours / (plate.decay_h * rng.lognormal(0, 0.25))) ** plate.stretch) * np.exp(-np.minimum(used / 0.05, 5))
    slow = np.zeros(count)
    for k in range(1, count):
        slow[k] = slow[k - 1] + (total[k] * plate.diffusion_ohm - slow[k - 1]) * QUARTER_H / 1.4
    volts = rest + surface - total * plate.resistance_ohm - slow + plate.per_k * (battery - 25)
    volts = volts * (1 + plate.meter_gain) + plate.meter_per_k * (air - 20)
    seen = np.empty(count)
    for k in range(count):
        minutes = volts[k] + rng.normal(0, plate.noise_v / 3, 15)
        if rng.random() < 0.06:
            minutes[: rng.integers(1, 7)] -= rng.uniform(0.02, 0.15)
        seen[k] = np.median(np.round(minutes / plate.step_v) * plate.step_v)
    measured = None
    if thermometer == "air":
        measured = air + rng.normal(0, 0.3, count)
    elif thermometer == "house":
        inside = np.empty(count)
        inside[0] = air[0] + 5
        heated = season == "frost" and rng.random() < 0.5
        for k in range(1, count):
            target = max(air[k] + rng.uniform(0, 4), 17.0) if heated else air[k] + 3
            inside[k] = inside[k - 1] + (target - inside[k - 1]) * QUARTER_H / 2.5
        measured = inside + rng.normal(0, 0.2, count)
    return Parking(hours, seen, measured, onset_h if drain_a else None, drain_a, 1 - depth, battery)
