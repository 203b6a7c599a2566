"""Camps that never were: vehicles with a thermostat fridge, lights, guests, weather and drives, and their truth.

Shares no formula with the trackers: the fridge's duty comes out of a thermostat in a warm box, the sun
out of its height in the sky and a weather that changes by the day, the charging current out of a
voltage source behind a resistance.
"""
from dataclasses import dataclass
from math import cos, exp, pi, radians, sin

import numpy as np

STEP_S = 60


@dataclass
class Camp:
    """One vehicle's weeks, minute by minute. Currents are positive into the battery."""

    capacity_ah: float
    rated_ah: float
    lead_acid: bool
    reserve_frac: float
    clock_noon_hour: float
    t_s: np.ndarray
    current_a: np.ndarray
    voltage_v: np.ndarray
    temperature_c: np.ndarray
    engine: np.ndarray
    charge_frac: np.ndarray
    load_a: np.ndarray
    sun_a: np.ndarray
    fridge_a: np.ndarray
    bedtime_hour: float


def camp(seed: int, days: int = 40) -> Camp:
    """A camp of that many days, from local midnight on."""
    rng = np.random.default_rng(seed)
    n = days * 86400 // STEP_S
    t_s = np.arange(n) * float(STEP_S)
    noon_hour = rng.choice([12.3, 12.9, 13.3, 13.8])
    hour = (t_s / 3600) % 24
    solar = (t_s / 3600 - noon_hour + 12) % 24
    latitude, doy = rng.uniform(36, 56), rng.integers(80, 280)
    weather = _weather(rng, days)
    ambient = _ambient(rng, days, solar, weather)
    fridge = _fridge(rng, ambient, hour)
    other, bedtime = _other_loads(rng, days, hour, ambient)
    load = fridge + other
    mean_day_ah = load.mean() * 24
    lead_acid = rng.random() < 0.6
    reserve = rng.choice([0.5, 0.5, 0.4, 0.2]) if lead_acid else rng.choice([0.1, 0.2, 0.2])
    capacity = float(np.clip(mean_day_ah * rng.uniform(0.6, 1.5) / (1 - reserve), 40, 320))
    sky = _sky(rng, latitude, doy, solar, days, weather)
    sun = sky * mean_day_ah * rng.uniform(0.9, 1.7) / max(sky.mean() * 24, 1e-6)
    engine, alternator = _drives(rng, days, n)
    return _run(rng, capacity, lead_acid, reserve, noon_hour, t_s, load, fridge, sun, engine, alternator, ambient,
                bedtime)


def _weather(rng, days):
    """Cloud of each day: 0 clear, 1 mixed, 2 overcast; spells last."""
    stay = rng.uniform(0.55, 0.8)
    wet = rng.uniform(0.15, 0.45)
    state, out = int(rng.integers(0, 3)), []
    for _ in range(days + 1):
        if rng.random() > stay:
            state = int(rng.choice(3, p=[(1 - wet) * 0.6, (1 - wet) * 0.4, wet]))
        out.append(state)
    return out


def _ambient(rng, days, solar, weather):
    base, swing = rng.uniform(8, 27), rng.uniform(4, 7)
    level, levels = 0.0, []
    heat = 0
    for day in range(days + 1):
        level = 0.8 * level + rng.normal(0, 1.5)
        if heat == 0 and rng.random() < 0.04:
            heat = int(rng.integers(3, 7))
        levels.append(base + level + (6 if heat else 0) - 1.5 * weather[day])
        heat = max(heat - 1, 0)
    per_day = 86400 // STEP_S
    daily = np.interp(np.arange(len(solar)) / per_day, np.arange(days + 1), levels)
    return daily + swing * np.cos((solar - 15) / 12 * pi)


def _fridge(rng, ambient, hour):
    """Compressor current of a box held between two temperatures; doors let warmth in."""
    amps, leak_h, cool_k_h = rng.uniform(2.8, 5.5), rng.uniform(5, 9), rng.uniform(9, 16)
    set_c, band_c = rng.uniform(3, 6), rng.uniform(1.0, 2.5)
    inside, on, out = set_c, False, np.zeros(len(ambient))
    doors = rng.random(len(ambient)) < np.where((hour > 7) & (hour < 22), 0.015, 0.0005)
    dt = STEP_S / 3600
    for i, outside in enumerate(ambient):
        inside += (outside - inside) / leak_h * dt - (cool_k_h * dt if on else 0)
        inside += rng.uniform(0.1, 0.5) if doors[i] else 0
        on = inside > set_c - band_c / 2 if on else inside > set_c + band_c / 2
        out[i] = amps * (1 + 0.04 * (outside - 20) / 10) if on else 0.0
    return out


def _other_loads(rng, days, hour, ambient):
    n, per_day = len(hour), 86400 // STEP_S
    out = np.full(n, rng.uniform(0.1, 0.9))
    light, bed = rng.uniform(0.6, 2.5), rng.uniform(21.2, 23.3)
    laptop = rng.uniform(2, 5)
    guests = 0
    for day in range(days):
        if guests == 0 and rng.random() < 0.06:
            guests = int(rng.integers(2, 5))
        more = 1.7 if guests else 1.0
        guests = max(guests - 1, 0)
        start = int((rng.normal(19.6, 0.5)) * 3600 / STEP_S)
        stop = int((bed + rng.normal(0, 0.5) + (0.8 if more > 1 else 0)) * 3600 / STEP_S)
        out[day * per_day + start:day * per_day + stop] += light * more * rng.uniform(0.8, 1.2)
        for _ in range(rng.poisson(1.1 * more)):
            at = day * per_day + int(rng.uniform(8, 22) * 3600 / STEP_S)
            out[at:at + int(rng.uniform(20, 110) * 60 / STEP_S)] += laptop
        for _ in range(rng.poisson(9 * more)):
            at = day * per_day + int(rng.uniform(7, 23) * 3600 / STEP_S)
            out[at:at + int(rng.integers(1, 4))] += 4.0
    if rng.random() < 0.4:
        out += np.where(ambient < 7, rng.uniform(0.6, 1.4), 0.0)  # heater fan
    return out, bed


def _sky(rng, latitude, doy, solar, days, weather):
    """Relative output of a flat panel."""
    tilt = radians(23.45) * sin(2 * pi * (284 + doy) / 365)
    height = np.sin(radians(latitude)) * sin(tilt) + np.cos(radians(latitude)) * cos(tilt) * np.cos(
        (solar - 12) / 12 * pi)
    clear = np.where(height > 0, height, 0) ** 1.15
    per_hour = 3600 // STEP_S
    cloud, series = 0.0, []
    for h in range(days * 24):
        state = weather[h // 24]
        mean, spread = ((0.95, 0.05), (0.65, 0.25), (0.25, 0.12))[state]
        cloud = 0.7 * cloud + rng.normal(0, 0.7)
        series.append(min(max(mean + spread * cloud, 0.04), 1.1))
    return clear * np.interp(np.arange(len(solar)) / per_hour, np.arange(days * 24), series)


def _drives(rng, days, n):
    engine, amps, per_day = np.zeros(n, bool), np.zeros(n), 86400 // STEP_S
    chance, rate = rng.uniform(0.05, 0.4), rng.uniform(8, 30)
    for day in range(days):
        if rng.random() < chance:
            at = day * per_day + int(rng.uniform(8, 18) * 3600 / STEP_S)
            to = at + int(rng.uniform(20, 150) * 60 / STEP_S)
            engine[at:to] = True
            amps[at:to] = rate
    return engine, amps


def _run(rng, capacity, lead_acid, reserve, noon_hour, t_s, load, fridge, sun, engine, alternator, ambient, bedtime):
    n = len(load)
    z = rng.uniform(max(reserve + 0.1, 0.5), 1.0)
    charge, current, volts = np.zeros(n), np.zeros(n), np.zeros(n)
    regulation = 14.4 if lead_acid else 14.2
    keeps = rng.uniform(0.93, 0.985) if lead_acid else 0.995
    ohm = (0.5 if lead_acid else 0.8) / capacity
    dt, cut, drop = STEP_S / 3600, False, 0.0
    for i in range(n):
        rest_v = 11.7 + 1.1 * z if lead_acid else 12.9 + 0.45 * z + 0.5 * exp((z - 1) * 60) - 0.8 * exp(-z * 18)
        use = load[i]
        if cut:
            use -= fridge[i]
        want = sun[i] + alternator[i] - use
        # The charger holds the voltage: no more goes in than the battery takes at it.
        takes = max((regulation - rest_v - drop) / ohm, 0.0) if z < 1 else 0.0
        if lead_acid:
            takes = min(takes, 0.9 * capacity * (1.005 - z) ** 1.15)
        net = min(want, takes) if want > 0 else want
        z += net * (keeps if net > 0 else 1.0) * dt / capacity
        z = min(max(z, 0.0), 1.0)
        drop += (net * ohm * 1.5 - drop) * 0.03
        charge[i], current[i] = z, net
        volts[i] = regulation if want > takes else rest_v + net * ohm + drop
        cut = z < 0.03 if not cut else z < 0.12
    rated = capacity / rng.uniform(0.75, 1.0)
    return Camp(capacity, float(round(rated)), bool(lead_acid), float(reserve), float(noon_hour), t_s, current, volts,
                ambient, engine, charge, load, sun, fridge, bedtime)
