"""Resistance week by week, freed of temperature and depth by what this battery itself shows of both.

Logarithm of a load step's resistance = level of the week + a * shape(depth) + b * (temperature - 25 °C). Levels move
from week to week; a and b belong to the battery and are learnt from the spread within the weeks (the "within"
estimator of panel data: Mundlak, Econometrica 46 (1978) 69), beginning at common practice. So neither a summer nor a
month of deep discharges passes for age.
"""
from math import exp, log, sqrt

from monitor.battery.label import Battery
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.usage.load_off import LoadStep

P = table("wear", "resistance_weeks")
PRIOR = P.by_chemistry("prior")
ALIKE, DEEPEST, GROWTH = P.number("alike"), P.number("deepest_frac"), P.number("growth")
LEAST_SPREAD, LATE_PART = P.number("least_spread"), P.number("late_part")
LEAST_SIGMA = P.number("least_sigma")
FEWEST_STEPS = P.count("fewest_steps")


@dataclass(frozen=True, slots=True)
class Sums:
    """Weighted sums over load steps: of the weights, of shape x, warmth t and log resistance y, and their products."""

    steps: int = 0
    w: float = 0.0
    x: float = 0.0
    t: float = 0.0
    y: float = 0.0
    xx: float = 0.0
    xt: float = 0.0
    tt: float = 0.0
    xy: float = 0.0
    ty: float = 0.0
    yy: float = 0.0
    root: float = 0.0       # of the age of the answers
    slope: float = 0.0      # of resistance with that root, full and at 25 °C, over those steps that tell
    slope_w: float = 0.0


@dataclass(frozen=True, slots=True)
class WeekLevel:
    """A closed week: means of log resistance, shape and warmth, and one sigma of the first.

    late_ohm is the part of the resistance, full and at 25 °C, that is not ohmic: it came after the step.
    """

    at_s: float
    log_ohm: float
    shape: float
    warmth_k: float
    sigma: float
    late_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class Effects:
    """What depth and warmth do to this battery: the effects with their variances and covariance."""

    depth: float
    warmth_per_k: float
    depth_var: float
    cross_var: float
    warmth_var: float


def shape(charge_frac: float) -> float:
    """How the logarithm of resistance goes with depth: Shepherd's form."""
    depth = min(max(1.0 - charge_frac, 0.0), DEEPEST)
    return log(1.0 + GROWTH * depth / (1.0 - depth))


def add(sums: Sums, step: LoadStep, weight: float, charge_frac: float, warmth_k: float, found: Effects) -> Sums:
    """One more load step.

    sums: sums of the week so far; weight: how much it counts; charge_frac: charge left, 0 to 1; warmth_k: against 25 °C [K]; found:
    what was found; step: of the current, and what the voltage did.
    """
    x, y, t = shape(charge_frac), log(step.ohm), warmth_k
    slope, slope_w = sums.slope, sums.slope_w
    if step.slope_ohm is not None:
        slope += weight * step.slope_ohm * exp(-found.depth * x - found.warmth_per_k * t)
        slope_w += weight
    return Sums(sums.steps + 1, sums.w + weight, sums.x + weight * x, sums.t + weight * t, sums.y + weight * y,
                sums.xx + weight * x * x, sums.xt + weight * x * t, sums.tt + weight * t * t, sums.xy + weight * x * y,
                sums.ty + weight * t * y, sums.yy + weight * y * y, sums.root + weight * step.root_age, slope, slope_w)


def within_week(sums: Sums) -> Sums:
    """The same about the week's own means: what it says of depth and warmth, whatever its level."""
    if sums.steps < FEWEST_STEPS or not sums.w:
        return Sums()
    w, x, t, y = sums.w, sums.x, sums.t, sums.y
    return Sums(sums.steps - 1, w, 0.0, 0.0, 0.0, sums.xx - x * x / w, sums.xt - x * t / w, sums.tt - t * t / w, sums.xy - x * y / w,
                sums.ty - t * y / w, sums.yy - y * y / w)


def pool_effects(a: Sums, b: Sums) -> Sums:
    """Both together."""
    return Sums(a.steps + b.steps, a.w + b.w, a.x + b.x, a.t + b.t, a.y + b.y, a.xx + b.xx, a.xt + b.xt, a.tt + b.tt, a.xy + b.xy,
                a.ty + b.ty, a.yy + b.yy)


def effects(learnt: Sums, battery: Battery) -> Effects:
    """What depth and warmth do, from all weeks' insides and common practice."""
    (a0, sa), (b0, sb) = PRIOR[battery.lead_acid]
    spread = _spread(learnt, a0, b0)
    scale = 1.0 / (ALIKE * max(learnt.w / max(learnt.steps, 1), 1e-9) * spread)   # precision of one unit of weight
    pxx, pxt, ptt = 1 / sa**2 + scale * learnt.xx, scale * learnt.xt, 1 / sb**2 + scale * learnt.tt
    qx, qt = a0 / sa**2 + scale * learnt.xy, b0 / sb**2 + scale * learnt.ty
    det = pxx * ptt - pxt * pxt
    return Effects((ptt * qx - pxt * qt) / det, (pxx * qt - pxt * qx) / det, ptt / det, -pxt / det, pxx / det)


def _spread(sums: Sums, a: float, b: float) -> float:
    """Variance of one step of mean weight about its week."""
    if not sums.w:
        return LEAST_SPREAD
    left = sums.yy - 2 * a * sums.xy - 2 * b * sums.ty + a * a * sums.xx + 2 * a * b * sums.xt + b * b * sums.tt
    return max(left / sums.w, LEAST_SPREAD)


def level(sums: Sums, at_s: float, found: Effects) -> WeekLevel | None:
    """A week's means, or None where it had too few steps.

    sums: sums of the week so far; at_s: the log's time [s]; found: what was found.
    """
    if sums.steps < FEWEST_STEPS:
        return None
    spread = _spread(within_week(sums), found.depth, found.warmth_per_k)
    late = sums.slope / sums.slope_w * sums.root / sums.w if sums.slope_w > LATE_PART * sums.w else None
    return WeekLevel(at_s, sums.y / sums.w, sums.x / sums.w, sums.t / sums.w, sqrt(ALIKE * spread / sums.steps + LEAST_SIGMA**2), late)


def at_full(one: WeekLevel, found: Effects) -> tuple[float, float]:
    """Logarithm of the week's resistance full and at 25 °C, one sigma."""
    x, t = one.shape, one.warmth_k
    doubt = x * x * found.depth_var + 2 * x * t * found.cross_var + t * t * found.warmth_var
    return one.log_ohm - found.depth * x - found.warmth_per_k * t, sqrt(one.sigma**2 + doubt)
