"""Voltage on the flats and the steps between them, at any moderate current.

Expects the curve at the place of each component, seen through the width of its own doubt (statistical linearisation on
three points): a tangent would believe any voltage on a flat.
"""
from math import sqrt

from monitor.battery.rest_curves import CUT, Family, Table
from monitor.estimation import gaussian
from monitor.estimation.observations.reading import CurvePlace, Observation, beside_curve, white_v2
from monitor.estimation.state import CAPACITY, FILLING, SIZE, Component
from monitor.estimation.surroundings import Surroundings
from monitor.parameters import table

_ROOT3 = sqrt(3.0)
_P = table("estimation/observations", "rest")
#: Where on the curve a slope lies is in doubt by this part of the capacity, anew each time.
AXIS_FRAC = _P.number("axis_frac")
#: A bend within a component up to this is no reason to think it less likely: wider ones are split.
UNSPLIT_V = _P.number("unsplit_v")
#: Part of the shift by diffusion that is new in each window.
SHIFT_DOUBT = _P.number("shift_doubt")
#: What lies further than this up the rise to full, over graphite's curve, is out of sight from the flats.
RISE_V = _P.number("rise_v")


def _through(table: Table, x: float, variance: float, most_v: float = float("inf")) -> tuple[float, float, float]:
    """A table's mean, slope and what a straight line leaves of its variance, over a Gaussian.

    A voltage from the flats is not that of the rise to full, whether that lies one volt away or three: taken as they are, the
    few parts of the Gaussian that reach on to it would hide what all others say.
    """
    step = _ROOT3 * sqrt(variance)
    middle, above, below = min(table.at(x), most_v), min(table.at(x + step), most_v), min(table.at(x - step), most_v)
    mean = 2.0 / 3.0 * middle + (above + below) / 6.0
    slope = (above - below) / (2.0 * step)
    left = 2.0 / 3.0 * (middle - mean) ** 2 + ((above - mean) ** 2 + (below - mean) ** 2) / 6.0 - slope * slope * variance
    return mean, slope, max(left, 0.0)


def bent_v2(at: CurvePlace, family: Family) -> float:
    """What a straight line through the curve, over a component's doubt, leaves of its variance [V2]."""
    left = _through(family.graphite, at.graphite, at.graphite_variance)[2]
    if at.top + 2.0 * sqrt(at.graphite_variance) > CUT:
        left += _through(family.top, at.top, at.graphite_variance, RISE_V)[2]
    return left


def expect(component: Component, at: CurvePlace, family: Family, now: Surroundings, rated_ah: float) -> Observation:
    """How one component sees this window's voltage.

    component: one member of the mixture; at: the component's place on its curve; family: the make's curve and its spread; now:
    voltage, current and temperature of the window; rated_ah: rated capacity [Ah].
    """
    rest_gap_v = family.rest_gap.at(min(max(at.charge_frac, 0.0), 1.0))
    mean, slope, left = _through(family.graphite, at.graphite, at.graphite_variance)
    top_slope = 0.0
    if at.top + 2.0 * sqrt(at.graphite_variance) > CUT:
        rise, top_slope, more = _through(family.top, at.top, at.graphite_variance, RISE_V)
        mean, left = mean + rise, left + more
    volts, slopes = beside_curve(component, now, rest_gap_v, at.charge_frac)
    for i, s in at.top_slopes.items() if top_slope else ():
        slopes[i] = slopes.get(i, 0.0) + s * top_slope
    # graphite's part is known from placing it
    cross = [slope * g + c for g, c in zip(at.graphite_cross, gaussian.times(component.covariance, slopes, SIZE), strict=True)]
    for i, s in at.graphite_slopes.items():
        slopes[i] = slopes.get(i, 0.0) + s * slope
    steep = slope + top_slope
    variance = white_v2(component, now, rated_ah) + left + (steep * at.shift_frac * SHIFT_DOUBT) ** 2 + (AXIS_FRAC * steep) ** 2
    expected = mean + volts
    return Observation(cross, gaussian.along(cross, slopes) + variance, now.voltage_v - expected, untouched=(CAPACITY, FILLING),
                   unsplit=min(left, UNSPLIT_V**2))
