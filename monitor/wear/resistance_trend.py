"""How a resistance went over the weeks: a level with a slope, smoothed, and the ratio of its two ends."""
from math import exp, hypot, sqrt

from monitor.findings import Z95, Answer, Estimate, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.wear import resistance_weeks
from monitor.wear.resistance_weeks import Effects, WeekLevel

WEEK_S = 7 * 86400.0

P = table("wear", "resistance_trend")
FEWEST_WEEKS, COLD_K, CONTACT_LN = P.count("fewest_weeks"), P.number("cold_k"), P.number("contact_ln")
LEVEL_STEP, SLOPE_STEP = P.number("level_step"), P.number("slope_step")
WEEK_SIGMA = P.number("week_sigma")
ENDS, LATE_WEEKS = P.count("ends"), P.count("late_weeks")
FIRST_SLOPE = P.number("first_slope")
LATE_COUNT, LATE_SIGMA = P.count("late_count"), P.number("late_sigma")


@dataclass(frozen=True, slots=True)
class Trend:
    """Logarithm of the first week's and the last week's resistance, with one sigma of their difference."""

    first_ln: float
    last_ln: float
    sigma_ln: float


def trend(levels: tuple[WeekLevel, ...], found: Effects) -> Trend:
    """The trend of two weeks or more: a local linear trend, filtered forward and smoothed back.

    Rauch, Tung and Striebel, AIAA Journal 3 (1965) 1445.
    """
    values = [one.log_ohm - found.depth * one.shape - found.warmth_per_k * one.warmth_k for one in levels]
    noise = [one.sigma**2 + WEEK_SIGMA**2 for one in levels]
    # (level, slope) and covariance (ll, ls, ss), before and after each week
    z, s, ll, ls, ss = values[0], 0.0, noise[0], 0.0, FIRST_SLOPE**2
    kept = [((z, s, ll, ls, ss), (z, s, ll, ls, ss), 0.0)]
    for k in range(1, len(levels)):
        dt = (levels[k].at_s - levels[k - 1].at_s) / WEEK_S
        z, ll, ls, ss = z + dt * s, ll + 2 * dt * ls + dt * dt * ss + dt * LEVEL_STEP**2, ls + dt * ss, ss + dt * SLOPE_STEP**2
        before, total = (z, s, ll, ls, ss), ll + noise[k]
        miss = values[k] - z
        z, s = z + ll / total * miss, s + ls / total * miss
        ll, ls, ss = ll - ll * ll / total, ls - ls * ll / total, ss - ls * ls / total
        kept.append(((z, s, ll, ls, ss), before, dt))
    end_z, end_var = z, ll
    for k in range(len(levels) - 2, -1, -1):
        (fz, fs, fll, fls, fss), (_, (bz, bs, bll, bls, bss), dt) = kept[k][0], kept[k + 1]
        det = bll * bss - bls * bls
        # gain = filtered covariance * transition' * inverse of the predicted covariance
        a, b = fll + dt * fls, fls                   # first row of covariance * transition'
        c, d = fls + dt * fss, fss
        g11, g12 = (a * bss - b * bls) / det, (b * bll - a * bls) / det
        g21, g22 = (c * bss - d * bls) / det, (d * bll - c * bls) / det
        dz, ds, dll, dls, dss = z - bz, s - bs, ll - bll, ls - bls, ss - bss
        z, s = fz + g11 * dz + g12 * ds, fs + g21 * dz + g22 * ds
        ll = fll + g11 * g11 * dll + 2 * g11 * g12 * dls + g12 * g12 * dss
        ls = fls + g11 * g21 * dll + (g11 * g22 + g12 * g21) * dls + g12 * g22 * dss
        ss = fss + g21 * g21 * dll + 2 * g21 * g22 * dls + g22 * g22 * dss
    x, t = (_mean([get(one) for one in levels[-ENDS:]]) - _mean([get(one) for one in levels[:ENDS]])
            for get in (lambda one: one.shape, lambda one: one.warmth_k))
    common = x * x * found.depth_var + 2 * x * t * found.cross_var + t * t * found.warmth_var
    return Trend(z, end_z, sqrt(end_var + ll + common))


def growth(levels: tuple[WeekLevel, ...], found: Effects) -> Answer:
    """Resistance now over that of the first week, or what is still missing. Cold weeks are left out."""
    warm = tuple(one for one in levels if one.warmth_k > COLD_K)
    if len(warm) < FEWEST_WEEKS:
        return NotYet(f"it takes {FEWEST_WEEKS} weeks with enough load steps; {len(warm)} so far")
    late = [resistance_weeks.at_full(one, found)[0] for one in warm[-ENDS:]]
    if max(late) - min(late) > CONTACT_LN:
        return NotYet("resistance jumps from week to week, as a loose contact does; look at the terminals first")
    ends = trend(warm, found)
    first, last = exp(ends.first_ln), exp(ends.last_ln)
    # the part that came late is averaged over more weeks: one week shows it badly
    late_first, doubt_first = _late([one.late_ohm for one in warm[:LATE_WEEKS]], first)
    late_last, doubt_last = _late([one.late_ohm for one in warm[-LATE_WEEKS:]], last)
    ratio = (last - late_last) / (first - late_first)
    spread = exp(Z95 * hypot(ends.sigma_ln, doubt_first, doubt_last))
    return Estimate(ratio, ratio / spread, ratio * spread, "measured")


def _late(seen: list[float | None], whole_ohm: float) -> tuple[float, float]:
    """The part of a resistance that came late, never more than half of it, and what its doubt adds [sigma of ln]."""
    known = [value for value in seen if value is not None]
    if len(known) < LATE_COUNT:
        return 0.0, LATE_SIGMA
    centre = _mean(known)
    scatter = (sum((v - centre) ** 2 for v in known) / (len(known) - 1) / len(known)) ** 0.5
    late = min(max(centre, 0.0), 0.5 * whole_ohm)
    return late, min(scatter, 0.5 * whole_ohm) / (whole_ohm - late)


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)
