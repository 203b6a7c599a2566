"""A drain that began at some moment of a parking: generalised likelihood ratio over all such moments.

A drain of unknown size from an unknown moment on leaves a signature in the innovations of the
filter of the resting voltage; each possible moment carries its signature along and adds up how
well it fits. After Willsky and Jones, IEEE Trans. Automatic Control 21 (1976) 108.
"""
from dataclasses import dataclass, replace
from math import exp, sqrt

from monitor.trackers import surface_decay as decay
from monitor.trackers.surface_decay import FALL, LEVEL, SELF, STATES, Decay

#: Drop at once by resistance and slow polarisation, as days of the fall it goes with (1 h, settling in 1 h).
AT_ONCE_DAYS, AT_ONCE_H = 0.03, 1.0
#: Keep candidate moments so far apart, by their age [h].
SPACING_H = ((3.0, 0.5), (12.0, 1.0), (30.0, 2.0), (72.0, 4.0), (240.0, 12.0))


@dataclass(frozen=True, slots=True)
class Onset:
    """One moment a drain may have begun; its signature per volt a day of fall."""

    at_s: float
    signature: tuple[float, ...]     # by how much the filter would be wrong already
    fit: float = 0.0                 # sum of signature times innovation over variance
    weight: float = 0.0              # sum of squared signature over variance

    @property
    def fall_v_per_day(self) -> float:
        """Likeliest extra fall from this moment on."""
        return self.fit / self.weight if self.weight > 0 else 0.0

    @property
    def score(self) -> float:
        """Extra fall in sigmas."""
        return self.fit / sqrt(self.weight) if self.weight > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Search:
    """All moments still in question."""

    onsets: tuple[Onset, ...] = ()


def step(search: Search, held: Decay) -> Search:
    """The search after one more step of the filter."""
    keep = decay.transition(held.passed_h)
    days = held.passed_h / 24
    out = []
    gain, look = held.gain, held.look
    for onset in search.onsets:
        f = [k * v for k, v in zip(keep, onset.signature)]
        f[LEVEL] -= days * (onset.signature[FALL] + held.self_factor * onset.signature[SELF])
        fit, weight = onset.fit, onset.weight
        if gain:
            age_h = (held.at_s - onset.at_s) / 3600
            true = -(age_h / 24 + AT_ONCE_DAYS * (1 - exp(-age_h / AT_ONCE_H)))
            g = true - sum(h * v for h, v in zip(look, f))
            f = [v + k * g for v, k in zip(f, gain)]
            fit += g * held.innovation_v / held.variance
            weight += g * g / held.variance
        out.append(Onset(onset.at_s, tuple(f), fit, weight))
    out = _thin(out, held.at_s)
    out.append(Onset(held.at_s, (0.0,) * STATES))
    return Search(tuple(out))


def _thin(onsets: list[Onset], at_s: float) -> list[Onset]:
    """Drop moments that lie closer together than their age asks; the first one always stays."""
    kept: list[Onset] = []
    for onset in onsets:
        age_h = (at_s - onset.at_s) / 3600
        apart_h = 12.0
        for up_to_h, spacing_h in SPACING_H:
            if age_h <= up_to_h:
                apart_h = spacing_h
                break
        if not kept or onset.at_s - kept[-1].at_s >= apart_h * 3600 - 1:
            kept.append(onset)
    return kept


def best(search: Search, held: Decay, youngest_s: float) -> Onset | None:
    """The moment that explains the innovations best among those at least so long ago."""
    found = None
    for onset in search.onsets:
        if held.at_s - onset.at_s < youngest_s:
            continue
        if found is None or onset.score > found.score:
            found = onset
    return found
