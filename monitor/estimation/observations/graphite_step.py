"""Graphite's step, met on the way down from full: how much charge lies between the two tells how large the battery is.

Ageing takes cyclable lithium, so what is lost lies between the step and full, and the step itself stays where it was in charge
counted from empty. A worn battery meets it early. Height and shape of the curve do not matter: only at which count the voltage
passes half-way from the upper flat to the lower one, once it is level again. As long as it has not fallen, the battery is at
least so large. In a battery so worn that it begins below the step the fall that is seen is the next one, graphite's lower stage:
each component is asked by the size it believes in.
"""
from math import erf, exp, hypot, log, sqrt
from statistics import median

from monitor.estimation.families import Kind
from monitor.estimation.gaussian import log_density
from monitor.estimation.surroundings import Surroundings
from monitor.parameters import table
from monitor.replacing import dataclass

_P = table("battery", "lithium_step")
#: Of a new battery's capacity, what lies below graphite's lower stage, and what between step and full; the part of what is lost
#: that lies there.
STAGE, STAGE_SIGMA = _P.number("stage_frac"), _P.sigma("stage_frac")
USUAL, USUAL_SIGMA = 1.0 - _P.number("step_frac"), _P.sigma("step_frac")
KAPPA, KAPPA_SIGMA = _P.number("lost_above_frac"), _P.sigma("lost_above_frac")
#: Parts of the rated capacity: where the upper flat is read, how far beyond the step it has to be level again, the widest
#: distance of two readings that still tell.
UPPER_FROM, UPPER_TO, LOWER_FROM, LOWER_TO = (
    _P.number("upper_from_frac"), _P.number("upper_to_frac"), _P.number("lower_from_frac"), _P.number("lower_to_frac"))
SPACING = _P.number("spacing_frac")
#: Half of the fall, its middle, takes no more than this.
WIDEST = _P.number("widest_frac")
#: The step falls by so much; the lower flat by no more over its reading.
FALL_V, FALLING, LEVEL_V = _P.number("fall_v"), _P.number("falling"), _P.number("level_v")
#: Share of batteries whose voltage falls otherwise, and over how much of the rated capacity.
UNLIKE, UNLIKE_SPAN = _P.number("unlike"), _P.number("unlike_span_frac")
#: Not read below this temperature, nor at a higher rate.
COLDEST_C, FASTEST_PER_H = _P.number("coldest_c"), _P.number("fastest_per_h")
#: Its error is the same each time: it is taught again only when capacity has had so long to walk away from it.
AGAIN_S = 86400.0 * _P.number("again_days")
#: Fewer, and a stretch from full to the step is not told of.
MOST_POINTS = _P.count("most_points")
CHARGING_PER_H, APART_FRAC = _P.number("charging_per_h"), _P.number("apart_frac")
SPACING_PART = _P.number("spacing_part")


@dataclass(frozen=True, slots=True)
class Descent:
    """What was seen on the way down from a full charge: voltage freed of what current does to it, by charge drawn since.

    points: charge drawn [Ah], voltage [V] and shift of the surface [1], at each new depth; taught_at_s: when it last told a
    capacity; floor_ah: until then, down to which depth its absence has been told.
    """

    begun: bool = False
    depth_ah: float = 0.0
    doubt_ah2: float = 0.0
    points: tuple[tuple[float, float, float], ...] = ()
    taught_at_s: float | None = None
    floor_ah: float = 0.0


@dataclass(frozen=True, slots=True)
class Fall:
    """The charge drawn since full [Ah] at which the voltage falls, as it would at rest, and one sigma of it."""

    depth_ah: float
    sigma_ah: float
    rated_ah: float

    def _step(self, kind: Kind, value_ln: float) -> tuple[float, float, float]:
        """Where a battery of a kind that holds so much (ln Ah) has its step: depth [Ah], slope by that, variance."""
        now, (new_ln, part, left) = exp(value_ln), kind.new_ln(value_ln - log(self.rated_ah))
        new = self.rated_ah * exp(new_ln)
        lost, by_new = new - now, USUAL - KAPPA
        variance = (USUAL_SIGMA * new) ** 2 + (KAPPA_SIGMA * lost) ** 2 + (by_new * new) ** 2 * left
        return USUAL * new - KAPPA * lost, by_new * part * new + KAPPA * now, variance

    def _stage(self, kind: Kind, value_ln: float) -> tuple[float, float, float]:
        """The same of the stage below."""
        now, (new_ln, part, left) = exp(value_ln), kind.new_ln(value_ln - log(self.rated_ah))
        new = self.rated_ah * exp(new_ln)
        return now - STAGE * new, now - STAGE * part * new, (STAGE_SIGMA * new) ** 2 + (STAGE * new) ** 2 * left

    def _has_step(self, kind: Kind, value_ln: float, variance: float) -> float:
        """How likely a battery believed to be so large has an upper flat that can be seen."""
        depth, slope, spread = self._step(kind, value_ln)
        return _normal((depth - 0.5 * UPPER_TO * self.rated_ah) / sqrt(spread + slope * slope * variance))

    def log_not_yet(self, kind: Kind, value_ln: float, variance: float) -> float:
        """Log of how likely a battery believed to be so large shows no fall down to here.

        kind: which kind of battery it is; value_ln: ln of its capacity [Ah]; variance: of that.
        """
        share = self._has_step(kind, value_ln, variance)
        later = [_normal((depth - self.depth_ah) / sqrt(spread + slope * slope * variance + self.sigma_ah**2))
                 for depth, slope, spread in (self._step(kind, value_ln), self._stage(kind, value_ln))]
        return log((1.0 - UNLIKE) * (share * later[0] + (1.0 - share) * later[1]) + UNLIKE)

    def log_seen(self, kind: Kind, value_ln: float, variance: float) -> tuple[float, float, float, float]:
        """Log of how likely a battery believed to be so large has its fall here [1/Ah]; how much later than expected it comes
        [Ah], the slope of what was expected by ln of the capacity, and the variance of the surprise.

        kind: which kind of battery it is; value_ln: ln of its capacity [Ah]; variance: of that.
        """
        share = min(max(self._has_step(kind, value_ln, variance), 1e-6), 1.0 - 1e-6)
        found = []
        for part, (depth, slope, spread) in ((share, self._step(kind, value_ln)), (1.0 - share, self._stage(kind, value_ln))):
            total = spread + slope * slope * variance + self.sigma_ah**2
            found.append((log(part) + log_density(self.depth_ah - depth, total), self.depth_ah - depth, slope, total))
        best, other = sorted(found, reverse=True)
        return best[0] + log(1.0 + exp(other[0] - best[0])), *best[1:]


def _normal(x: float) -> float:
    return 0.5 + 0.5 * erf(x / sqrt(2.0))


def begin_anew(descent: Descent) -> Descent:
    """It is full: the next descent begins here."""
    return Descent(True, 0.0, 0.0, (), descent.taught_at_s, descent.floor_ah)


def follow(descent: Descent, out_ah: float, doubt_ah2: float, free_v: float | None, now: Surroundings | None, rated_ah: float) -> Descent:
    """The descent after one window.

    descent: before; out_ah: net charge drawn in it [Ah]; doubt_ah2: variance of what of it was guessed; free_v: its voltage without
    what current does to it [V], None: not measured, or not to be trusted; now: its rate and temperature; rated_ah: rated capacity.
    """
    if not descent.begun:
        return descent
    depth, points = descent.depth_ah + out_ah, descent.points
    if free_v is not None and now is not None and now.temperature_c >= COLDEST_C and (
            abs(now.current_a) < FASTEST_PER_H * rated_ah and now.current_a < CHARGING_PER_H * rated_ah):
        middle = depth - 0.5 * out_ah
        if (not points or middle > points[-1][0] + APART_FRAC * rated_ah) and len(points) < MOST_POINTS:
            points = (*points, (middle, free_v, now.shift_frac))
    return Descent(True, depth, descent.doubt_ah2 + doubt_ah2, points, descent.taught_at_s, descent.floor_ah)


def _fall(depth_ah: float, shift_frac: float, spacing_ah: float, doubt_ah2: float, rated_ah: float) -> Fall:
    # the surface runs ahead of the whole: at rest the fall would have come so much later
    ahead_ah = shift_frac * rated_ah
    return Fall(depth_ah - ahead_ah, hypot(SPACING_PART * spacing_ah, sqrt(doubt_ah2), 0.5 * ahead_ah), rated_ah)


def find_fall(descent: Descent, rated_ah: float) -> Fall | None:
    """Where the voltage fell, once it is level again.

    descent: what was seen since full; rated_ah: rated capacity.
    """
    points = descent.points
    upper = [v for d, v, _ in points if UPPER_FROM * rated_ah <= d <= UPPER_TO * rated_ah]
    if not upper or points[-1][1] > median(upper) - FALL_V:
        return None
    high = median(upper)   # the rise to full reaches into it in some makes
    half = 0.5 * FALL_V
    for _ in range(2):
        k = next((i for i, (_, v, _) in enumerate(points) if v < high - half), 0)
        if not k:
            return None
        (d0, v0, _), (d1, v1, shift) = points[k - 1], points[k]
        crossed = d0 + (d1 - d0) * min(max((v0 - high + half) / max(v0 - v1, 1e-6), 0.0), 1.0)
        lower = [(d, v) for d, v, _ in points if crossed + LOWER_FROM * rated_ah <= d <= crossed + LOWER_TO * rated_ah]
        if len(lower) < 2 or lower[-1][0] - lower[0][0] < 0.5 * (LOWER_TO - LOWER_FROM) * rated_ah:
            return None
        if lower[0][1] - lower[-1][1] > LEVEL_V or d1 - d0 > SPACING * rated_ah:
            return None
        half = 0.5 * (high - sum(v for _, v in lower) / len(lower))
    # a slope that goes on and on is the lower flat of a battery without an upper one
    last_above = max((d for d, v, _ in points if v > high - 0.5 * half), default=0.0)
    first_below = min((d for d, v, _ in points if d > last_above and v < high - 2.0 * half + 0.5 * half), default=2.0 * rated_ah)
    if first_below - last_above > WIDEST * rated_ah + (d1 - d0):
        return None
    return _fall(crossed, shift, d1 - d0, descent.doubt_ah2, rated_ah)


def find_absence(descent: Descent, rated_ah: float) -> Fall | None:
    """Here it has not fallen, while the voltage is still on the upper flat.

    descent: what was seen since full; rated_ah: rated capacity.
    """
    points = descent.points
    upper = [v for d, v, _ in points if UPPER_FROM * rated_ah <= d <= UPPER_TO * rated_ah]
    if not upper or points[-1][0] <= UPPER_TO * rated_ah or points[-1][1] < median(upper) - FALLING * FALL_V:
        return None
    depth, _, shift = points[-1]
    return _fall(depth, shift, 0.0, descent.doubt_ah2, rated_ah)


def at_depth(descent: Descent, depth_ah: float, rated_ah: float) -> Fall | None:
    """The same for a depth that was told before, None where none was.

    descent: what was seen since full; depth_ah: charge drawn [Ah]; rated_ah: rated capacity.
    """
    return _fall(depth_ah, 0.0, 0.0, descent.doubt_ah2, rated_ah) if depth_ah else None
