"""Asks every component what it expected, corrects it, and lets the mixture's weights follow by likelihood."""
from collections.abc import Iterable
from functools import reduce
from math import exp, log

from monitor.estimation import gaussian
from monitor.estimation.observations.reading import Observation
from monitor.estimation.state import Component, Mixture
from monitor.parameters import table
from monitor.replacing import dataclass

_P = table("battery", "lithium_mixture")
#: Share of windows that fit no model at all, and the span of voltage over which such a one may lie.
OUTLIERS, SPAN_V = _P.number("outliers"), _P.number("outlier_span_v")
#: Curves, kinetics and shapes are never quite those of the battery at hand, and the likelihood of many readings of one wrong
#: curve makes too sure. Weights therefore follow a coarsened likelihood (Miller and Dunson 2019): between the components of a kind
#: what of a reading is news counts, and so much of that between kinds.
COARSE_KINDS = _P.number("coarse_kinds")
#: What they say between kinds is forgotten again with this time [h].
KINDS_H = _P.number("kinds_h")
_FLOOR = log(OUTLIERS / SPAN_V)
_INSIDE = log(1.0 - OUTLIERS)


@dataclass(frozen=True, slots=True)
class MixtureUpdate:
    """The mixture after a reading, how badly even the component it fits best forecast it (squared sigmas), and what it said for
    each kind (log of likelihood, as far as it counted)."""

    mixture: Mixture
    misfit: float
    by_kind: dict[int, float]


def add_logs(a: float, b: float) -> float:
    """Log of the sum of two numbers given by their logs."""
    return a + log(1.0 + exp(b - a)) if a > b else b + log(1.0 + exp(a - b))


def update(mixture: Mixture, readings: list[Observation], power: float, again: float = 1.0) -> MixtureUpdate:
    """Every component after its reading. A component that finds it out of the question keeps its belief, and pays in weight.

    Parameters
    ----------
    mixture : before
    readings : how each component sees this one
    power : of the likelihood between components of a kind
    again : part of what is left between kinds that is news
    """
    found = []
    for component, reading in zip(mixture, readings, strict=True):
        mean, covariance = component.mean, component.covariance
        likely = reading.log_likelihood() + _INSIDE
        if likely > _FLOOR:
            mean, covariance = gaussian.update(mean, covariance, reading.cross, reading.miss, reading.spread, reading.untouched)
        weight = component.log_weight + power * add_logs(likely, _FLOOR)
        found.append(Component(weight, component.family, mean, covariance))
    coarsened, by_kind = _coarsen(mixture, found, COARSE_KINDS * again)
    return MixtureUpdate(coarsened, min(r.miss**2 / r.spread for r in readings), by_kind)


def evidence(mixture: Mixture, readings: list[Observation]) -> float:
    """Log of how likely the whole mixture made a reading.

    mixture: components with their weights; readings: how each component sees this one.
    """
    return reduce(add_logs, [c.log_weight + add_logs(r.log_likelihood() + _INSIDE, _FLOOR) for c, r in zip(mixture, readings, strict=True)])


def _coarsen(before: Mixture, after: list[Component], kinds_power: float) -> tuple[Mixture, dict[int, float]]:
    """The components with what speaks for each kind as a whole coarsened once more, and what is left of it."""
    prior, found = _by_kind(before), _by_kind(after)
    said = {kind: kinds_power * (weight - prior[kind]) for kind, weight in found.items()}
    shift = {kind: said[kind] - (weight - prior[kind]) for kind, weight in found.items()}
    return tuple([Component(c.log_weight + shift[c.family], c.family, c.mean, c.covariance) for c in after]), said


def fade(mixture: Mixture, said: tuple[float, ...], hours: float) -> tuple[Mixture, tuple[float, ...]]:
    """The mixture after so long, with what readings had said for each kind counting for less.

    However many there are, they are readings of one battery by curves that are not quite its own: beyond some days' worth of them
    nothing more is known (Miller and Dunson 2019: a likelihood is worth no more than a fixed number of readings).

    mixture: components with their weights; said: log of likelihood that counts, of each kind; hours: that passed.
    """
    keep = exp(-hours / KINDS_H)
    return (tuple([Component(c.log_weight - (1.0 - keep) * said[c.family], c.family, c.mean, c.covariance) for c in mixture]),
            tuple([keep * s for s in said]))


def _by_kind(components: Iterable[Component]) -> dict[int, float]:
    """Log of the weight of each kind."""
    total: dict[int, float] = {}
    for c in components:
        total[c.family] = add_logs(total[c.family], c.log_weight) if c.family in total else c.log_weight
    return total
