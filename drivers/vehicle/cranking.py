"""The starter battery's voltage during an engine start, 50 times a second.

A motor that does not turn yet draws a multiple of what it draws once it turns; the pistons' compression
makes the current swell and fall; when the engine has caught, the alternator lifts the voltage.
"""
from math import exp, pi, sin
from random import Random

RATE_HZ = 50.0
BEFORE_S, AFTER_S = 1.6, 4.4


def trace(start_s: float, crank_s: float, starts: bool, before_v: float, battery_ohm: float, motor_ohm: float,
          chance: Random) -> tuple[tuple[float, float], ...]:
    """(seconds, volts) from before_v resting volts, through crank_s of cranking from start_s, and after.

    start_s: when the key is turned [s]; crank_s: how long the motor turns [s]; starts: whether the engine catches; before_v: at
    rest [V]; battery_ohm, motor_ohm: resistances of battery and motor with its cables [ohm]; chance: a seeded source of it.
    """
    steady_a = before_v / (battery_ohm + motor_ohm)
    inrush = chance.uniform(0.6, 0.85)      # beyond the steady current, while the motor stands
    spin_s = chance.uniform(0.07, 0.13)
    beat_hz = chance.uniform(6.5, 10.0) * (before_v - battery_ohm * steady_a) / 10.8
    depth = chance.uniform(0.06, 0.14)
    sagged = battery_ohm * 0.25
    out = []
    count = int((BEFORE_S + crank_s + AFTER_S) * RATE_HZ)
    first = round((start_s - BEFORE_S) * RATE_HZ)
    for k in range(count):
        at = (first + k) / RATE_HZ
        t = at - start_s
        if t < 0.0:
            v = before_v
        elif t < crank_s:
            a = steady_a * (1.0 + inrush * exp(-t / spin_s)) * (1.0 + depth * sin(2.0 * pi * beat_hz * t)
                                                                 * (1.0 - exp(-t / 0.1)))
            v = before_v - battery_ohm * a - sagged * steady_a * (1.0 - exp(-t / 0.8))
        else:
            back = t - crank_s
            v = before_v - sagged * steady_a * (1.0 - exp(-crank_s / 0.8)) * exp(-back / 5.0)
            if starts:
                v += (14.1 - v) * (1.0 - exp(-max(back - 0.5, 0.0) / 0.9))
        out.append((round(at, 3), round((v + chance.gauss(0.0, 0.01)) / 0.005) * 0.005))
    return tuple(out)
