"""Time passes: charge is counted, hysteresis turns, everything else may wander."""
from dataclasses import dataclass
from math import exp, sqrt

from monitor.estimation.state import (
    AXIS_SLOW,
    CAPACITY,
    CHARGE,
    DIFFUSION,
    HYSTERESIS,
    LEVEL,
    LOSS,
    OFFSET,
    RESISTANCE,
    SLOW,
    Component,
)
from monitor.parameters import table

_P = table("battery", "lithium_cell")
MEMORY_FRAC, REST_H = _P.number("hysteresis_memory_frac"), _P.number("hysteresis_rest_h")
SLOW_V, SLOW_H = _P.sigma("slow_v"), _P.number("slow_h")
AXIS_FRAC, AXIS_H, AXIS_ALONG_FRAC = _P.sigma("axis_slow_frac"), _P.number("axis_slow_h"), _P.number("axis_slow_along_frac")
DIFFUSION_LN = _P.sigma("diffusion_ln")
SELF_DISCHARGE = _P.number("self_discharge_per_h")
#: Hours after which the diffusion time of a battery is forgotten again: it differs between one charge and another.
DIFFUSION_FORGET_H = 100.0


@dataclass(frozen=True, slots=True)
class Passed:
    """What went by since the last step: hours, measured charge in and out (both positive), variance of what was guessed in
    gaps, doubt of the shunt's gain and how much slower than at 25 °C the electrodes are."""

    hours: float
    in_ah: float
    out_ah: float
    doubt_ah2: float
    gain_sigma_frac: float
    coldness: float


def predict(component: Component, passed: Passed) -> Component:
    """The component after that time."""
    mean, hours, into = list(component.mean), passed.hours, passed.in_ah
    rows = [list(row) for row in component.covariance]
    n, capacity = len(mean), exp(mean[CAPACITY])
    net = into - passed.out_ah
    turned = exp(-abs(net) / capacity / MEMORY_FRAC)
    keep_h, keep_w = turned * exp(-hours / REST_H), exp(-hours / SLOW_H)
    keep_a = exp(-abs(net) / capacity / AXIS_ALONG_FRAC - hours / AXIS_H)
    lost = SELF_DISCHARGE * capacity * hours
    drawn = (passed.out_ah - (1.0 - mean[LOSS]) * into + mean[OFFSET] * hours + lost) / capacity
    # charge' = charge - (out - in * (1 - loss) + hours * offset) / capacity, and its slopes by capacity, offset and loss
    by_offset, by_loss = -hours / capacity, -into / capacity
    fresh = [z + drawn * q + by_offset * b + by_loss * e
             for z, q, b, e in zip(rows[CHARGE], rows[CAPACITY], rows[OFFSET], rows[LOSS], strict=True)]
    variance = fresh[CHARGE] + drawn * fresh[CAPACITY] + by_offset * fresh[OFFSET] + by_loss * fresh[LOSS]
    fresh[CHARGE] = variance
    rows[CHARGE] = fresh
    for i in range(n):
        rows[i][CHARGE] = fresh[i]
    for index, keep in ((HYSTERESIS, keep_h), (SLOW, keep_w), (AXIS_SLOW, keep_a)):
        row = [value * keep for value in rows[index]]
        row[index] *= keep
        rows[index] = row
        for i in range(n):
            rows[i][index] = row[i]
    mean[CHARGE] -= drawn
    mean[HYSTERESIS] = keep_h * mean[HYSTERESIS] + ((1.0 - turned) if net > 0 else turned - 1.0)
    mean[SLOW] *= keep_w
    mean[AXIS_SLOW] *= keep_a
    days = hours / 24.0
    slow = SLOW_V * SLOW_V * passed.coldness * (1.0 - keep_w * keep_w)
    rows[CHARGE][CHARGE] += (
        passed.doubt_ah2 + (0.4 * lost) ** 2 + (passed.gain_sigma_frac / 3 * (into + passed.out_ah)) ** 2) / capacity**2
    rows[OFFSET][OFFSET] += 0.010**2 * days / 5.0
    rows[CAPACITY][CAPACITY] += 0.030**2 * days / 10.0
    rows[LEVEL][LEVEL] += 0.010**2 * days / 30.0
    rows[LOSS][LOSS] += 0.003**2 * days / 5.0
    rows[RESISTANCE][RESISTANCE] += 0.04 * rows[RESISTANCE][RESISTANCE] * days / 30.0
    rows[DIFFUSION][DIFFUSION] += DIFFUSION_LN**2 * min(2.0 * hours / DIFFUSION_FORGET_H, 1.0)
    rows[DIFFUSION][DIFFUSION] = min(rows[DIFFUSION][DIFFUSION], 1.5 * DIFFUSION_LN**2)
    rows[HYSTERESIS][HYSTERESIS] += 0.04**2 * hours + (0.25 * (1.0 - turned)) ** 2
    rows[SLOW][SLOW] += slow
    rows[AXIS_SLOW][AXIS_SLOW] += AXIS_FRAC * AXIS_FRAC * sqrt(passed.coldness) * (1.0 - keep_a * keep_a)
    return Component(component.log_weight, component.family, tuple(mean), tuple(tuple(row) for row in rows))
