"""The lead-acid charge filter's model: how charge moves on, and what rest voltage it ought to show.

Nine quantities are believed at once. Charge is held as depth: ampere-hours missing from full, so
that counting is exact whatever the capacity turns out to be.
"""
from math import exp, hypot, log, sqrt

from monitor.battery import charge_loss, lead_acid
from monitor.battery.label import Battery, CurrentSensor
from monitor.estimation import charge_anchor, kalman
from monitor.estimation.kalman import Belief
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


#: Sealed batteries fall by 1.1 to 1.7 V in published sets, which is more than handbooks print for one construction: their
#: span is in doubt by a fifth, and their height by a tenth of a volt, whatever the construction.
#: The label is what a new lead-acid battery gives (EN 50342-1); those in service give mostly 85 to 103 % of it.
PRIOR = Prior(0.35, 0.25, -0.03, 0.15, 0.10, 0.20, 0.022, 8.0, 4.0)


#: What a shunt's gain is in doubt by before anybody compared it; the priors and the noise of counting allow for it.
USUAL_GAIN_SIGMA_FRAC = 0.006
#: A comparison of the voltmeter that left this in doubt, at this voltage, adds to what the rest curve may lie off.
NOMINAL_V = 12.7
#: How far the count may run beyond full: lead-acid takes more than fits, as gas.
BEYOND_FULL_FRAC = 0.01


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
         level_sigma_v, max(kind.span_sigma_ln, p.span_sigma_ln), p.wander_v, 0.01, charge_anchor.TAIL_SIGMA_LN),
    )
    rows = [list(row) for row in belief.covariance]
    # Acid that starts stronger falls further before it is used up: level and span go together.
    tie = 0.8 / kind.span_v
    rows[SPAN][LEVEL] = rows[LEVEL][SPAN] = tie * rows[LEVEL][LEVEL]
    rows[SPAN][SPAN] = max(rows[SPAN][SPAN], 0.12**2 + tie * rows[SPAN][LEVEL])
    return Belief(belief.mean, tuple(tuple(row) for row in rows))


def forward(
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
    rows[DEPTH][DEPTH] += doubt_ah2 + (0.4 * lost_ah) ** 2 + (gain_sigma_frac / 3 * (in_ah + out_ah)) ** 2
    rows[OFFSET][OFFSET] += 0.010**2 * days / 5.0
    # A battery worn by heat or deep cycles may lose a hundredth a week (common practice): a year has to show it.
    rows[CAPACITY][CAPACITY] += 0.030**2 * days / 10.0
    rows[LOSS][LOSS] += 0.003**2 * days / 5.0
    rows[LEVEL][LEVEL] += 0.010**2 * days / 30.0
    rows[SPAN][SPAN] += 0.010**2 * days / 30.0
    rows[WANDER][WANDER] += p.wander_v**2 * (1.0 - keep_wander**2)
    rows[SLOW][SLOW] += slow_v * slow_v * (1.0 - keep_slow**2)
    rows[TAIL][TAIL] += 0.10**2 * days / 10.0
    capacity = exp(mean[CAPACITY])
    return Belief(
        (min(max(depth, -BEYOND_FULL_FRAC * capacity), 1.1 * capacity), mean[OFFSET], mean[CAPACITY], min(max(mean[LOSS], 0.0), 0.12),
         mean[LEVEL], mean[SPAN], mean[WANDER] * keep_wander, mean[SLOW] * keep_slow, mean[TAIL]),
        tuple(tuple(row) for row in rows),
    )


def rest(belief: Belief, battery: Battery) -> tuple[float, tuple[float, ...], float]:
    """Rest voltage that the belief expects at 25 °C, its slopes, and the doubt of the curve itself [V].

    Near full the slope by depth fades across one sigma to each side of it, for beyond full there is none.
    """
    mean = belief.mean
    capacity = exp(mean[CAPACITY])
    u = mean[DEPTH] / capacity
    spread = min(max(belief.sigma(DEPTH) / capacity, 0.005), 0.12)
    kind = lead_acid.construction(battery)
    span = kind.span_v * exp(mean[SPAN])
    fall = span * lead_acid.fall_frac(max(u, 0.0))
    # Beyond full the voltage says nothing more about depth.
    slope = -span * lead_acid.fall_slope(max(u, 0.0)) * min(max(0.5 + 0.5 * u / spread, 0.0), 1.0)
    # Of span and capacity only the ratio may be learnt here: the bend of the curve would tell them apart,
    # but differs between batteries more than their ratio does.
    voltage, by_span, by_capacity = kind.full_v - fall, -fall, fall
    doubt = 0.01 * abs(slope) + (0.0 if u < 0.75 else 0.1 * (u - 0.75) * span)
    by_depth = slope / capacity
    slopes = [0.0] * len(mean)
    slopes[DEPTH], slopes[CAPACITY], slopes[SPAN] = by_depth, by_capacity, by_span
    slopes[LEVEL] = slopes[WANDER] = slopes[SLOW] = 1.0
    return voltage + mean[LEVEL] + mean[WANDER] + mean[SLOW], tuple(slopes), doubt
