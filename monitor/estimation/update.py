"""Asks every component what it expected, corrects it, and lets the mixture's weights follow by likelihood."""
from dataclasses import dataclass
from math import exp, log

from monitor.estimation import gaussian
from monitor.estimation.observations.reading import Reading
from monitor.estimation.state import Component, Mixture

#: Share of windows that fit no model at all, and the span of voltage over which such a one may lie.
OUTLIERS, SPAN_V = 0.01, 2.0
_FLOOR = log(OUTLIERS / SPAN_V)
_INSIDE = log(1.0 - OUTLIERS)


@dataclass(frozen=True, slots=True)
class Outcome:
    """The mixture after a reading, and how badly even the component it fits best forecast it (squared sigmas)."""

    mixture: Mixture
    misfit: float


def add_logs(a: float, b: float) -> float:
    """Log of the sum of two numbers given by their logs."""
    return a + log(1.0 + exp(b - a)) if a > b else b + log(1.0 + exp(a - b))


def update(mixture: Mixture, readings: list[Reading]) -> Outcome:
    """Every component after its reading. A component that finds it out of the question keeps its belief, and pays in weight."""
    found, misfit = [], 1e9
    for component, reading in zip(mixture, readings, strict=True):
        cross = gaussian.times(component.covariance, reading.slopes)
        spread = gaussian.along(cross, reading.slopes) + reading.variance
        mean, covariance = component.mean, component.covariance
        likely = gaussian.log_density(reading.miss, spread - reading.unsplit) + reading.log_jacobian + _INSIDE
        inside, learn = add_logs(likely, _FLOOR), likely > _FLOOR
        if learn:
            if reading.untouched:
                mean, covariance = gaussian.update_consider(mean, covariance, cross, reading.miss, spread, reading.untouched)
            else:
                mean, covariance = gaussian.update(mean, covariance, cross, reading.miss, spread)
        weight = component.log_weight + inside
        misfit = min(misfit, reading.miss**2 / spread)
        found.append(Component(weight, component.family, mean, covariance))
    return Outcome(tuple(found), misfit)
