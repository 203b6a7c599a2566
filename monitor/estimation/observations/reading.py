"""What every kind of reading hands on, and where on the rest curve a component stands."""
from math import exp

from monitor.battery.rest_curves import BOTTOM_REACH, STEP, STEP_REACH, Family
from monitor.estimation import gaussian
from monitor.estimation.families import KINDS
from monitor.estimation.state import (
    AXIS_BOTTOM,
    AXIS_SLOW,
    AXIS_STEP,
    AXIS_TOP,
    CHARGE,
    DIFFUSION,
    DIFFUSION_ACTIVATION,
    FILLING,
    HYSTERESIS,
    KINETIC,
    KINETIC_ACTIVATION,
    KNOTS,
    LEVEL,
    RESISTANCE,
    SHAPE,
    SIZE,
    SLOW,
    Component,
    Mixture,
)
from monitor.estimation.surroundings import Surroundings
from monitor.parameters import table
from monitor.replacing import dataclass

#: What a rate of once the capacity an hour leaves unexplained, anew in each window: voltage [V], place on the curve [1].
_P = table("estimation/observations", "reading")
RATE_DOUBT_V, RATE_DOUBT_FRAC = _P.number("rate_doubt_v"), _P.number("rate_doubt_frac")
NOISE_V, DROP_PART, KINETIC_PART = _P.number("noise_v"), _P.number("drop_part"), _P.number("kinetic_part")
DIFFUSION_MOST_LN, BOTTOM_FULL, BOTTOM_FADES = _P.number("diffusion_most_ln"), _P.number("bottom_full_frac"), _P.number("bottom_fades_frac")


@dataclass(frozen=True, slots=True)
class Observation:
    """One measurement as one component sees it.

    cross: covariance of the expected value with every quantity; spread: variance of the innovation; miss: measured less
    expected; log_jacobian: of the change from voltage to the quantity compared; untouched: not learnt from it; unsplit: part of
    the variance that stands for a bend within the component, which is no news of each window and does not count in its weight.
    """

    cross: list[float]
    spread: float
    miss: float
    log_jacobian: float = 0.0
    untouched: tuple[int, ...] = ()
    unsplit: float = 0.0

    def log_likelihood(self) -> float:
        """Log of how likely the component made it."""
        return gaussian.log_density(self.miss, self.spread - self.unsplit) + self.log_jacobian


@dataclass(frozen=True, slots=True)
class CurvePlace:
    """Where a component stands: charge, place on graphite's curve and on the rise to full, with slopes and variances."""

    charge_frac: float
    shift_frac: float
    graphite: float
    graphite_slopes: dict[int, float]
    graphite_cross: list[float]
    graphite_variance: float
    top: float
    top_slopes: dict[int, float]


def place(component: Component, now: Surroundings) -> CurvePlace:
    """Where it stands with this window's current and temperature."""
    m = component.mean
    z = m[CHARGE]
    diffusion_ln = m[DIFFUSION] + now.diffusion_factor * m[DIFFUSION_ACTIVATION]
    shift = now.shift_frac * exp(max(min(diffusion_ln, DIFFUSION_MOST_LN), -DIFFUSION_MOST_LN))
    at_bottom = min(max(z, 0.0) / BOTTOM_FULL, 1.0) * min(max((BOTTOM_REACH - z) / BOTTOM_FADES, 0.0), 1.0)
    at_step = max(1.0 - abs(z - STEP) / STEP_REACH, 0.0)
    top = {CHARGE: 1.0, DIFFUSION: shift, DIFFUSION_ACTIVATION: shift * now.diffusion_factor, AXIS_TOP: 1.0, AXIS_SLOW: 1.0}
    filled = 1.0 + m[FILLING]
    graphite = {CHARGE: filled, DIFFUSION: shift, DIFFUSION_ACTIVATION: shift * now.diffusion_factor,
                FILLING: z, AXIS_SLOW: 1.0}
    if at_bottom:
        graphite[AXIS_BOTTOM] = at_bottom
    if at_step:
        graphite[AXIS_STEP] = at_step
    cross = gaussian.times(component.covariance, graphite, SIZE)
    return CurvePlace(
        z, shift, z * filled + shift + m[AXIS_SLOW] + at_bottom * m[AXIS_BOTTOM] + at_step * m[AXIS_STEP], graphite, cross,
        max(gaussian.along(cross, graphite), 1e-8), z + shift + m[AXIS_SLOW] + m[AXIS_TOP], top)


def beside_curve(component: Component, now: Surroundings, rest_gap_v: float, charge_frac: float) -> tuple[float, dict[int, float]]:
    """What stands in the voltage besides the curve's middle [V], and its slopes.

    component: one member of the mixture; now: voltage, current and temperature of the window; rest_gap_v: half the distance of charge
    and discharge branch [V]; charge_frac: state of charge, 0 to 1.
    """
    m = component.mean
    kinetic = _kinetic_v(component, now)
    slopes = {HYSTERESIS: rest_gap_v, RESISTANCE: now.current_a, LEVEL: 1.0, SLOW: 1.0, KINETIC: kinetic,
              KINETIC_ACTIVATION: kinetic * now.kinetic_factor}
    z = min(max(charge_frac, KNOTS[0]), KNOTS[-1])
    volts = m[HYSTERESIS] * rest_gap_v + m[RESISTANCE] * now.current_a + m[LEVEL] + m[SLOW] + kinetic + now.warmth_v(z)
    i = next(k for k in range(1, len(KNOTS)) if z <= KNOTS[k]) - 1
    share = (z - KNOTS[i]) / (KNOTS[i + 1] - KNOTS[i])
    for k, part in ((i, 1.0 - share), (i + 1, share)):
        if part:
            slopes[SHAPE + k] = part
            volts += part * m[SHAPE + k]
    return volts, slopes


def _kinetic_v(component: Component, now: Surroundings) -> float:
    """What the chemical step at the plates takes [V], by the component's own strength and activation."""
    m = component.mean
    return (KINDS[component.family].kinetic * now.kinetic_v
            * exp(max(min(m[KINETIC] + now.kinetic_factor * m[KINETIC_ACTIVATION], 2.0), -2.0)))


def by_current(component: Component, now: Surroundings) -> float:
    """What the current takes of the voltage, or lifts it by [V]: resistance and kinetics.

    component: one member of the mixture; now: the window's current and temperature.
    """
    return component.mean[RESISTANCE] * now.current_a + _kinetic_v(component, now)


def free_of_current(mixture: Mixture, now: Surroundings) -> float:
    """The window's voltage without what its current takes of it or lifts it by, as the whole mixture believes [V].

    mixture: components with their weights; now: the window's voltage, current and temperature.
    """
    weights = [exp(c.log_weight) for c in mixture]
    return now.voltage_v - sum([w * by_current(c, now) for w, c in zip(weights, mixture, strict=True)]) / sum(weights)


def by_current_and_past(component: Component, now: Surroundings, family: Family) -> float:
    """What current, now and before, does to the voltage [V]: resistance, kinetics, hysteresis.

    component: one member of the mixture; now: the window's current and temperature; family: the make's curve.
    """
    m = component.mean
    return m[HYSTERESIS] * family.rest_gap.at(min(max(m[CHARGE], 0.0), 1.0)) + by_current(component, now)


def white_v2(component: Component, now: Surroundings, rated_ah: float) -> float:
    """Variance of what is new in each window's voltage: noise, and what its current did to it [V2].

    component: one member of the mixture; now: voltage, current and temperature of the window; rated_ah: rated capacity [Ah].
    """
    drop = DROP_PART * max(component.mean[RESISTANCE], 0.0) * now.current_a
    return NOISE_V * NOISE_V + drop * drop + (RATE_DOUBT_V * now.current_a / rated_ah) ** 2 + (KINETIC_PART * now.kinetic_v) ** 2
