"""The lead-acid charge filter's model: how charge moves on, and what rest voltage it ought to show.

Nine quantities are believed at once. Charge is held as depth: ampere-hours missing from full, so
that counting is exact whatever the capacity turns out to be.
"""
from math import exp, hypot, log, sqrt

from monitor.battery import charge_loss, lead_acid
from monitor.battery.label import Battery, CurrentSensor
from monitor.estimation import charge_anchor, kalman
from monitor.estimation.kalman import Belief
from monitor.parameters import table
from monitor.replacing import dataclass

DEPTH, OFFSET, CAPACITY, LOSS, LEVEL, SPAN, WANDER, SLOW, TAIL = range(9)
"""Ah missing from full; A the shunt reads too high; ln Ah; part of charge lost on the way in;
V the whole rest curve lies too high; ln of its span;
V of slow model error; V of slow polarisation not modelled; ln of how much more than usual is missing
when the current of a charge tails off."""


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of a battery before it has been measured, and how fast that may change."""

    depth_frac: float
    depth_sigma_frac: float
    capacity_ln: float        # of what the label says
    capacity_sigma_ln: float
    level_sigma_v: float
    span_sigma_ln: float
    wander_v: float
    wander_h: float
    slow_h: float


P = table("estimation", "charge_filter")
PRIOR = Prior(P.number("depth_frac"), P.sigma("depth_frac"), P.number("capacity_ln"), P.sigma("capacity_ln"), P.sigma("level_v"),
              P.sigma("span_ln"), P.number("wander_v"), P.number("wander_h"), P.number("slow_h"))
#: What a shunt's gain is in doubt by before anybody compared it; the priors and the noise of counting allow for it.
USUAL_GAIN_SIGMA_FRAC = CurrentSensor().gain_sigma_frac
NOMINAL_V, FIRST_SLOW_V = P.number("nominal_v"), P.number("first_slow_v")
TIED, SPAN_OWN_LN = P.number("tied"), P.number("span_own_ln")
LEAK_PART, BEYOND_FULL_FRAC, DEEPEST_FRAC = P.number("leak_part"), P.number("beyond_full_frac"), P.number("deepest_frac")
LOSS_WALK, SPAN_LN, TAIL_LN = P.number("loss_walk"), P.number("span_walk_ln"), P.number("tail_walk_ln")
LEAST_SPREAD, MOST_SPREAD, AXIS_FRAC = P.number("least_spread"), P.number("most_spread"), P.number("axis_frac")
DEEP_FRAC, DEEP_PART = P.number("deep_frac"), P.number("deep_part")
#: Shunt, capacity and height walk as lithium's do.
_W = table("estimation", "predict")
OFFSET_A, CAPACITY_LN, LEVEL_V, GAIN_OVER = _W.number("offset_a"), _W.number("capacity_ln"), _W.number("level_v"), _W.number("gain_over")
DAYS, CAPACITY_DAYS, MONTH_DAYS = _W.number("few_days"), _W.number("capacity_days"), _W.number("month_days")


def begin(battery: Battery, sensor: CurrentSensor) -> Belief:
    """What is believed before the first reading."""
    p, kind = PRIOR, lead_acid.construction(battery)
    rated = battery.rated_capacity_ah
    # A gain that is off counts every ampere-hour wrong alike: the label's capacity is then off by as much.
    capacity_sigma = sqrt(p.capacity_sigma_ln**2 + max(sensor.gain_sigma_frac**2 - USUAL_GAIN_SIGMA_FRAC**2, 0.0))
    measured_acid = battery.acid_density_kg_l is not None
    own_sigma_v = lead_acid.DENSITY_SIGMA_V if measured_acid else p.level_sigma_v
    level_sigma_v = hypot(own_sigma_v, NOMINAL_V * (battery.voltage_sigma_frac or 0.0))
    belief = kalman.begin(
        (p.depth_frac * rated, 0.0, log(rated) + p.capacity_ln, charge_loss.FRAC[battery.chemistry], 0.0,
         0.0, 0.0, 0.0, 0.0),
        (p.depth_sigma_frac * rated, sensor.offset_sigma_a, capacity_sigma, charge_loss.SIGMA_FRAC[battery.chemistry],
         level_sigma_v, max(kind.span_sigma_ln, p.span_sigma_ln), p.wander_v, FIRST_SLOW_V, charge_anchor.TAIL_SIGMA_LN),
    )
    rows = [list(row) for row in belief.covariance]
    # Acid that starts stronger falls further before it is used up: level and span go together.
    tie = TIED / kind.span_v
    rows[SPAN][LEVEL] = rows[LEVEL][SPAN] = tie * rows[LEVEL][LEVEL]
    rows[SPAN][SPAN] = max(rows[SPAN][SPAN], SPAN_OWN_LN**2 + tie * rows[SPAN][LEVEL])
    return Belief(belief.mean, tuple(tuple(row) for row in rows))


def predict(
    belief: Belief, hours: float, in_ah: float, out_ah: float, lost_ah: float, doubt_ah2: float, slow_v: float,
    gain_sigma_frac: float = USUAL_GAIN_SIGMA_FRAC,
) -> Belief:
    """The belief after some time in which these charges were counted.

    in_ah and out_ah are measured (both positive), lost_ah what gassing and self-discharge took,
    doubt_ah2 the variance of charge that was guessed, slow_v one sigma of the slow polarisation error that the present use may cause,
    gain_sigma_frac that of the shunt's gain, of which a third comes and goes with warmth and current.

    belief: means and covariance before; hours: time that passed [h]; in_ah: measured into the battery
    [Ah]; out_ah: measured out of it [Ah]; lost_ah: lost to gassing and self-discharge [Ah]; doubt_ah2: variance of what was not
    measured [Ah2]; slow_v: one sigma of slow polarisation not modelled [V]; gain_sigma_frac: doubt of the shunt's gain, one sigma.
    """
    p = PRIOR
    mean, rows = belief.mean, [list(row) for row in belief.covariance]
    depth = mean[DEPTH] + out_ah - (1.0 - mean[LOSS]) * in_ah + mean[OFFSET] * hours + lost_ah
    # depth' = depth + hours * offset + in_ah * loss: shear the depth row and column accordingly
    d = rows[DEPTH]
    offset_row, loss_row = rows[OFFSET], rows[LOSS]
    fresh = [a + hours * b + in_ah * c for a, b, c in zip(d, offset_row, loss_row, strict=True)]
    fresh[DEPTH] = (
        d[DEPTH] + 2 * hours * d[OFFSET] + 2 * in_ah * d[LOSS]
        + hours * hours * offset_row[OFFSET] + 2 * hours * in_ah * offset_row[LOSS] + in_ah * in_ah * loss_row[LOSS]
    )
    keep_wander, keep_slow = exp(-hours / p.wander_h), exp(-hours / p.slow_h)
    rows[DEPTH] = fresh
    for i in range(1, len(mean)):
        rows[i][DEPTH] = fresh[i]
    for index, keep in ((WANDER, keep_wander), (SLOW, keep_slow)):
        row = [value * keep for value in rows[index]]
        row[index] *= keep
        rows[index] = row
        for i in range(len(mean)):
            rows[i][index] = row[i]
    days = hours / 24.0
    rows[DEPTH][DEPTH] += doubt_ah2 + (LEAK_PART * lost_ah) ** 2 + (gain_sigma_frac / GAIN_OVER * (in_ah + out_ah)) ** 2
    rows[OFFSET][OFFSET] += OFFSET_A**2 * days / DAYS
    rows[CAPACITY][CAPACITY] += CAPACITY_LN**2 * days / CAPACITY_DAYS
    rows[LOSS][LOSS] += LOSS_WALK**2 * days / DAYS
    rows[LEVEL][LEVEL] += LEVEL_V**2 * days / MONTH_DAYS
    rows[SPAN][SPAN] += SPAN_LN**2 * days / MONTH_DAYS
    rows[WANDER][WANDER] += p.wander_v**2 * (1.0 - keep_wander**2)
    rows[SLOW][SLOW] += slow_v * slow_v * (1.0 - keep_slow**2)
    rows[TAIL][TAIL] += TAIL_LN**2 * days / CAPACITY_DAYS
    capacity = exp(mean[CAPACITY])
    return Belief(
        (min(max(depth, -BEYOND_FULL_FRAC * capacity), DEEPEST_FRAC * capacity), mean[OFFSET], mean[CAPACITY],
         max(mean[LOSS], 0.0),
         mean[LEVEL], mean[SPAN], mean[WANDER] * keep_wander, mean[SLOW] * keep_slow, mean[TAIL]),
        tuple(tuple(row) for row in rows),
    )


def expect_rest(belief: Belief, battery: Battery) -> tuple[float, tuple[float, ...], float]:
    """Rest voltage that the belief expects at 25 °C, its slopes, and the doubt of the curve itself [V].

    Near full the slope by depth fades across one sigma to each side of it, for beyond full there is none.
    """
    mean = belief.mean
    capacity = exp(mean[CAPACITY])
    u = mean[DEPTH] / capacity
    spread = min(max(belief.sigma(DEPTH) / capacity, LEAST_SPREAD), MOST_SPREAD)
    kind = lead_acid.construction(battery)
    span = kind.span_v * exp(mean[SPAN])
    fall = span * lead_acid.fall_frac(max(u, 0.0))
    # Beyond full the voltage says nothing more about depth.
    slope = -span * lead_acid.fall_slope(max(u, 0.0)) * min(max(0.5 + 0.5 * u / spread, 0.0), 1.0)
    # Of span and capacity only the ratio may be learnt here: the bend of the curve would tell them apart,
    # but differs between batteries more than their ratio does.
    voltage, by_span, by_capacity = kind.full_v - fall, -fall, fall
    doubt = AXIS_FRAC * abs(slope) + (0.0 if u < DEEP_FRAC else DEEP_PART * (u - DEEP_FRAC) * span)
    by_depth = slope / capacity
    slopes = [0.0] * len(mean)
    slopes[DEPTH], slopes[CAPACITY], slopes[SPAN] = by_depth, by_capacity, by_span
    slopes[LEVEL] = slopes[WANDER] = slopes[SLOW] = 1.0
    return voltage + mean[LEVEL] + mean[WANDER] + mean[SLOW], tuple(slopes), doubt
