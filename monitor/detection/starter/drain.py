"""A drain that began at some moment of a parking: generalised likelihood ratio over all such moments.

A drain of unknown size from an unknown moment on leaves a signature in the innovations of the
filter of the resting voltage; each possible moment carries its signature along and adds up how
well it fits. After Willsky and Jones, IEEE Trans. Automatic Control 21 (1976) 108.
"""
from math import exp, sqrt

from monitor.detection.starter import surface_decay as decay
from monitor.detection.starter.surface_decay import COSINE, SINE, STATES, WARM, WARM_LATE, Decay
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/starter", "drain")
AT_ONCE_DAYS, AT_ONCE_H = P.number("at_once_days"), P.number("at_once_h")
SPACING_H = P.numbers("spacing_h")
USED_V = P.number("used_v")
USED_ALONE_V = P.number("used_alone_v")


@dataclass(frozen=True, slots=True)
class Onset:
    """One moment at which a drain may have begun, or charge was used once.

    ramp and drop say by how much the filter would be wrong by now, for a fall of a volt a day from
    then on and for a single drop of a volt. The sums compare them with the innovations seen.
    """

    at_s: float
    ramp: tuple[float, ...]
    drop: tuple[float, ...]
    ramp_fit: float = 0.0
    ramp_weight: float = 0.0
    drop_fit: float = 0.0
    drop_weight: float = 0.0
    cross: float = 0.0

    def fall(self) -> tuple[float, float]:
        """Likeliest extra fall from then on [V/day] and its sigma, whatever was used at the same moment."""
        prior = self.drop_weight + 1 / USED_V**2
        weight = self.ramp_weight - self.cross**2 / prior
        if weight <= 0:
            return 0.0, 1e9
        return (self.ramp_fit - self.cross * self.drop_fit / prior) / weight, 1 / sqrt(weight)

    def drop_score(self) -> float:
        """How well a single drop alone explains what was seen, in sigmas."""
        return max(self.drop_fit, 0.0) / sqrt(self.drop_weight + 1 / USED_ALONE_V**2)


@dataclass(frozen=True, slots=True)
class Search:
    """All moments still in question."""

    onsets: tuple[Onset, ...] = ()


def begin(at_s: float) -> Search:
    """The search at the start of a parking: one moment, the start itself."""
    return Search((_begin_onset(at_s),))


def _begin_onset(at_s: float) -> Onset:
    return Onset(at_s, (0.0,) * STATES, (0.0,) * STATES)


def step(search: Search, state: Decay) -> Search:
    """The search after one more step of the filter."""
    keep, look, gain = decay.transition(state.passed_h), state.look, state.gain
    days, factor = state.passed_h / 24, state.self_factor
    scaled, per = (state.innovation_v / state.variance, 1 / state.variance) if gain else (0.0, 0.0)
    out = []
    for o in _thin(search.onsets, state.at_s):
        ramp, drop = _predict_error(o.ramp, keep, days, factor), _predict_error(o.drop, keep, days, factor)
        if not gain:
            out.append(replace(o, ramp=ramp, drop=drop))
            continue
        age_h = (state.at_s - o.at_s) / 3600
        g = -(age_h / 24 + AT_ONCE_DAYS * (1 - exp(-age_h / AT_ONCE_H))) - _project(ramp, look)
        d = -1.0 - _project(drop, look)
        out.append(Onset(
            o.at_s, _correct_error(ramp, gain, g), _correct_error(drop, gain, d),
            o.ramp_fit + g * scaled, o.ramp_weight + g * g * per,
            o.drop_fit + d * scaled, o.drop_weight + d * d * per, o.cross + g * d * per,
        ))
    out.append(_begin_onset(state.at_s))
    return Search(tuple(out))


def _predict_error(wrong: tuple[float, ...], keep: list[float], days: float, factor: float) -> tuple[float, ...]:
    """By how much the filter is wrong some time later: only surface charge and wander fade, all else stays."""
    level, a, b, c, d, fall, leak, warm, late, sine, cosine, wander = wrong
    _, ka, kb, kc, kd, _, _, _, _, _, _, kw = keep
    return level - days * (fall + factor * leak), ka * a, kb * b, kc * c, kd * d, fall, leak, warm, late, sine, cosine, kw * wander


def _project(wrong: tuple[float, ...], look: tuple[float, ...]) -> float:
    """What of that shows in the voltage, by the line of the filter: level, surface and wander whole, both falls not at all."""
    level, a, b, c, d, _, _, warm, late, sine, cosine, wander = wrong
    return level + a + b + c + d + look[WARM] * warm + look[WARM_LATE] * late + look[SINE] * sine + look[COSINE] * cosine + wander


def _correct_error(wrong: tuple[float, ...], gain: tuple[float, ...], by_v: float) -> tuple[float, ...]:
    """By how much the filter is wrong once it has learnt from an innovation that was wrong by so much [V]."""
    level, a, b, c, d, fall, leak, warm, late, sine, cosine, wander = wrong
    k, ka, kb, kc, kd, k_fall, k_leak, k_warm, k_late, k_sine, k_cosine, k_wander = gain
    return (level + k * by_v, a + ka * by_v, b + kb * by_v, c + kc * by_v, d + kd * by_v, fall + k_fall * by_v, leak + k_leak * by_v,
            warm + k_warm * by_v, late + k_late * by_v, sine + k_sine * by_v, cosine + k_cosine * by_v, wander + k_wander * by_v)


def _thin(onsets: tuple[Onset, ...], at_s: float) -> list[Onset]:
    """Drop moments that lie closer together than their age asks; the first one always stays."""
    kept: list[Onset] = []
    for onset in onsets:
        age_h = (at_s - onset.at_s) / 3600
        apart_h = 24.0
        for up_to_h, spacing_h in SPACING_H:
            if age_h <= up_to_h:
                apart_h = spacing_h
                break
        if not kept or onset.at_s - kept[-1].at_s >= apart_h * 3600 - 1:
            kept.append(onset)
    return kept


@dataclass(frozen=True, slots=True)
class BestDrain:
    """The moment that explains what was seen best as a drain, against the best single drop."""

    at_s: float
    fall_v_per_day: float
    sigma: float
    score: float
    drop_score: float


def best(search: Search, state: Decay, youngest_s: float) -> BestDrain | None:
    """The best explanation among the moments at least so long ago; None while there is none.

    search: candidate moments so far; state: the filter of the parking; youngest_s: age from which a drain
    is named [s].
    """
    found: tuple[float, float, float, float] | None = None
    drop_score = 0.0
    for onset in search.onsets:
        age_s = state.at_s - onset.at_s
        drop_score = max(drop_score, onset.drop_score())
        if age_s >= youngest_s and onset.ramp_fit > 0:
            fall, sigma = onset.fall()
            if found is None or fall / sigma > found[0]:
                found = (fall / sigma, onset.at_s, fall, sigma)
    return None if found is None else BestDrain(found[1], found[2], found[3], found[0], drop_score)
