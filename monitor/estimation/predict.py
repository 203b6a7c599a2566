"""Time passes: charge is counted, hysteresis turns, everything else may wander."""
from math import exp, sqrt

from monitor.battery import charge_loss
from monitor.estimation.state import (
    AXIS_SLOW,
    CAPACITY,
    CHARGE,
    DIFFUSION,
    FILLING,
    HYSTERESIS,
    LEVEL,
    LOSS,
    OFFSET,
    RESISTANCE,
    SIZE,
    SLOW,
    Component,
)
from monitor.estimation.triangle import layout, place, sum_of_rows
from monitor.parameters import table
from monitor.replacing import dataclass

_P = table("battery", "lithium_cell")
MEMORY_FRAC, REST_H = _P.number("hysteresis_memory_frac"), _P.number("hysteresis_rest_h")
SLOW_V, SLOW_H = _P.sigma("slow_v"), _P.number("slow_h")
AXIS_FRAC, AXIS_H, AXIS_ALONG_FRAC = _P.sigma("axis_slow_frac"), _P.number("axis_slow_h"), _P.number("axis_slow_along_frac")
DIFFUSION_LN = _P.sigma("diffusion_ln")
SELF_DISCHARGE = _P.number("self_discharge_per_h")
_W = table("estimation", "predict")
#: Hours after which what was learnt of a battery's diffusion time and of its charging loss is forgotten again: both come back to
#: what is usual, and never get further from it than they may lie.
DIFFUSION_FORGET_H, LOSS_FORGET_H = _W.number("diffusion_forget_h"), _W.number("loss_forget_h")
#: One sigma by which each walks away in so many days.
OFFSET_A, CAPACITY_LN, LEVEL_V, RESISTANCE_PART = (
    _W.number("offset_a"), _W.number("capacity_ln"), _W.number("level_v"), _W.number("resistance_part"))
HYSTERESIS_WALK, TURNED = _W.number("hysteresis"), _W.number("turned")
DAYS, CAPACITY_DAYS, MONTH_DAYS = _W.number("few_days"), _W.number("capacity_days"), _W.number("month_days")
LEAK_PART, GAIN_OVER = _W.number("leak_part"), _W.number("gain_over")
USUAL_LOSS, LOSS_SIGMA = charge_loss.FRAC["lfp"], charge_loss.SIGMA_FRAC["lfp"]
#: What is lost with time is missing between graphite's step and full: graphite is filled less by so much of it.
FILLING_BY_WEAR = table("battery", "lithium_step").number("lost_above_frac")
_FILLING_CAPACITY = place(FILLING, CAPACITY)
_PLACES, _VARIANCE = layout(SIZE).places, layout(SIZE).diagonal


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
    numbers = list(component.covariance)
    capacity = exp(mean[CAPACITY])
    net = into - passed.out_ah
    turned = exp(-abs(net) / capacity / MEMORY_FRAC)
    keep_h, keep_w = turned * exp(-hours / REST_H), exp(-hours / SLOW_H)
    keep_a = exp(-abs(net) / capacity / AXIS_ALONG_FRAC - hours / AXIS_H)
    lost = SELF_DISCHARGE * capacity * hours
    drawn = (passed.out_ah - (1.0 - mean[LOSS]) * into + mean[OFFSET] * hours + lost) / capacity
    # charge' = charge - (out - in * (1 - loss) + hours * offset) / capacity, and its slopes by capacity, offset and loss
    by_offset, by_loss = -hours / capacity, -into / capacity
    fresh = sum_of_rows((CHARGE, CAPACITY, OFFSET, LOSS), SIZE)(component.covariance, 1.0, drawn, by_offset, by_loss)
    fresh[CHARGE] += drawn * fresh[CAPACITY] + by_offset * fresh[OFFSET] + by_loss * fresh[LOSS]
    for at, value in zip(_PLACES[CHARGE], fresh, strict=True):
        numbers[at] = value
    keep_d, keep_l = exp(-hours / DIFFUSION_FORGET_H), exp(-hours / LOSS_FORGET_H)
    for index, keep in ((HYSTERESIS, keep_h), (SLOW, keep_w), (AXIS_SLOW, keep_a), (DIFFUSION, keep_d), (LOSS, keep_l)):
        for at in _PLACES[index]:
            numbers[at] *= keep
        numbers[_VARIANCE[index]] *= keep
    mean[CHARGE] -= drawn
    mean[HYSTERESIS] = keep_h * mean[HYSTERESIS] + ((1.0 - turned) if net > 0 else turned - 1.0)
    mean[SLOW] *= keep_w
    mean[AXIS_SLOW] *= keep_a
    mean[DIFFUSION] *= keep_d
    mean[LOSS] = USUAL_LOSS + keep_l * (mean[LOSS] - USUAL_LOSS)
    days = hours / 24.0
    slow = SLOW_V * SLOW_V * passed.coldness * (1.0 - keep_w * keep_w)
    numbers[_VARIANCE[CHARGE]] += (
        passed.doubt_ah2 + (LEAK_PART * lost) ** 2 + (passed.gain_sigma_frac / GAIN_OVER * (into + passed.out_ah)) ** 2) / capacity**2
    numbers[_VARIANCE[OFFSET]] += OFFSET_A**2 * days / DAYS
    worn = CAPACITY_LN**2 * days / CAPACITY_DAYS
    numbers[_VARIANCE[CAPACITY]] += worn
    numbers[_FILLING_CAPACITY] += FILLING_BY_WEAR * worn
    numbers[_VARIANCE[FILLING]] += FILLING_BY_WEAR**2 * worn
    numbers[_VARIANCE[LEVEL]] += LEVEL_V**2 * days / MONTH_DAYS
    numbers[_VARIANCE[LOSS]] += LOSS_SIGMA * LOSS_SIGMA * (1.0 - keep_l * keep_l)
    numbers[_VARIANCE[RESISTANCE]] += RESISTANCE_PART * numbers[_VARIANCE[RESISTANCE]] * days / MONTH_DAYS
    numbers[_VARIANCE[DIFFUSION]] += DIFFUSION_LN * DIFFUSION_LN * (1.0 - keep_d * keep_d)
    numbers[_VARIANCE[HYSTERESIS]] += HYSTERESIS_WALK**2 * hours + (TURNED * (1.0 - turned)) ** 2
    numbers[_VARIANCE[SLOW]] += slow
    numbers[_VARIANCE[AXIS_SLOW]] += AXIS_FRAC * AXIS_FRAC * sqrt(passed.coldness) * (1.0 - keep_a * keep_a)
    return Component(component.log_weight, component.family, tuple(mean), tuple(numbers))
