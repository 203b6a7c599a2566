"""The voltage across a join at rest against the house current: learnt while plainly joined, it shows the parting."""

from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/join", "path_voltage")
REMEMBER_S, LEARN_S = P.number("remember_s"), P.number("learn_s")
FORGET = P.number("forget")
SLOPE_OHM, SLOPE_A2, SLOPE_SIGMA_OHM = P.number("slope_ohm"), P.number("slope_a2"), P.number("slope_sigma_ohm")
OFF_V, SIGMAS, LEAST_SIGMA_V = P.number("off_v"), P.number("sigmas"), P.number("least_sigma_v")


@dataclass(frozen=True, slots=True)
class JoinVoltage:
    """Means, variances and covariance of house current and voltage across (starter above house) of late."""

    seconds: float = 0.0
    mean_a: float = 0.0
    mean_v: float = 0.0
    var_a: float = 0.0
    cov: float = 0.0
    var_v: float = 0.0


def learn(gap: JoinVoltage, house_a: float, across_v: float, span_s: float) -> JoinVoltage:
    """After one more point while plainly joined, engine off.

    gap: the line learnt so far; house_a: house battery's current [A]; across_v: voltage across the path [V]; span_s:
    how long it lasted [s].
    """
    seconds = min(gap.seconds + span_s, REMEMBER_S)
    share = span_s / seconds
    off_a, off_v = house_a - gap.mean_a, across_v - gap.mean_v
    keep = 1 - share
    return JoinVoltage(seconds, gap.mean_a + share * off_a, gap.mean_v + share * off_v,
               keep * (gap.var_a + share * off_a * off_a), keep * (gap.cov + share * off_a * off_v),
               keep * (gap.var_v + share * off_v * off_v))


def unlearn(gap: JoinVoltage, span_s: float) -> JoinVoltage:
    """After a point that lies off the line: if the batteries are joined still, the line holds no longer."""
    return replace(gap, seconds=max(0.0, gap.seconds - FORGET * span_s))


def offset_v(gap: JoinVoltage, house_a: float, across_v: float) -> float:
    """How far the voltage across lies off the line, as a share of what shows a parting: above 1 it does.

    gap: the line learnt so far; house_a: house battery's current [A]; across_v: voltage across the path [V].
    """
    if gap.seconds < LEARN_S:
        return 0.0
    slope = (gap.cov + SLOPE_OHM * SLOPE_A2) / (gap.var_a + SLOPE_A2)
    away_a = house_a - gap.mean_a
    left = max(0.0, gap.var_v - slope * (2 * gap.cov - slope * gap.var_a))
    sigma = (left + LEAST_SIGMA_V**2 + (SLOPE_SIGMA_OHM * away_a) ** 2 * SLOPE_A2 / (gap.var_a + SLOPE_A2)) ** 0.5
    return abs(across_v - gap.mean_v - slope * away_a) / max(OFF_V, SIGMAS * sigma)
