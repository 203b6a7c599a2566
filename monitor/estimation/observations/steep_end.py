"""The knee and the rise to full: there voltage says where on the curve the battery's surface stands.

The same equation as at rest, solved for the charge axis: a straight line through so steep a curve would be worth nothing.
Full and empty are this and nothing else: a tail of current, a charger of 13.6 or of 14.4 V, a high rate and the cold
come in through the shift between surface and whole. In the cold that shift is hardly known at the bottom: it may say
how full, never how large.
"""
from math import hypot, log
from typing import Literal

from monitor.battery.rest_curves import Family
from monitor.estimation import gaussian
from monitor.estimation.observations.reading import RATE_DOUBT_FRAC, CurvePlace, Observation, beside_curve, white_v2
from monitor.estimation.observations.rest import SHIFT_DOUBT
from monitor.estimation.state import CAPACITY, CHARGE, FILLING, SIZE, Component
from monitor.estimation.surroundings import Surroundings
from monitor.parameters import table

_P = table("estimation/observations", "steep_end")
SLOPE_STEP = _P.number("slope_step_frac")
#: Voltages that belong to no flat.
BOTTOM_V, TOP_V = _P.number("bottom_v"), _P.number("top_v")
#: New in each window [part of the capacity]; at the bottom more with each step of ten kelvin below 5 °C.
AXIS_FRAC, COLD_BOTTOM_FRAC, COLD_TOP_FRAC, COLD_C = (
    _P.number("axis_frac"), _P.number("cold_bottom_frac"), _P.number("cold_top_frac"), _P.number("cold_c"))
#: Below this it is empty, surface and all, and that is the whole of what it says.
FLOOR_V, EMPTY_SIGMA_FRAC, EMPTY_SLOPE_V = _P.number("floor_v"), _P.number("empty_sigma_frac"), _P.number("empty_slope_v")
ALL_BUT_CHARGE = tuple(i for i in range(SIZE) if i != CHARGE)
#: Charges at which gap and shape are read for either end.
NEAR_BOTTOM, NEAR_TOP = _P.number("near_bottom_frac"), _P.number("near_top_frac")


def end_of(voltage_v: float, free_v: float | None = None, tailed_off: bool = False) -> Literal["full", "empty", ""]:
    """The end on which a window's voltage lies, if any.

    voltage_v: its mean [V]; free_v: the same without what its current takes [V], for a strong charger lifts a battery on a flat as
    high as the rise to full, and a strong load pulls it down to the knee; None: not known; tailed_off: a charger holds it there and
    hardly any current flows any more. Then the battery has risen to it, and even a voltage that belongs to a flat under way lies on
    the rise to full.
    """
    if max(voltage_v, free_v or 0.0) < BOTTOM_V:
        return "empty"
    lifted_v = voltage_v if free_v is None else min(voltage_v, free_v)
    return "full" if lifted_v > TOP_V or tailed_off else ""


def expect(component: Component, at: CurvePlace, family: Family, now: Surroundings, rated_ah: float, end: str, swung: bool,
           ) -> Observation:
    """How one component sees this window's voltage, as a place on the charge axis.

    end: "full" or "empty"; swung: the way here began at the other end. Else the charge at which the count began is a guess on
    a flat, or this end itself, and the way from there says nothing of how large the battery is.

    component: one member of the mixture; at: the component's place on its curve; family: the make's curve and its spread; now:
    voltage, current and temperature of the window; rated_ah: rated capacity [Ah].
    """
    top = end == "full"
    near = NEAR_TOP if top else NEAR_BOTTOM
    volts, beside = beside_curve(component, now, family.rest_gap.at(near), near)
    cold = max((COLD_C - now.temperature_c) / 10.0, 0.0)
    if now.voltage_v <= FLOOR_V:
        model = hypot(EMPTY_SIGMA_FRAC, cold * cold * COLD_BOTTOM_FRAC, at.shift_frac * SHIFT_DOUBT,
                      RATE_DOUBT_FRAC * now.current_a / rated_ah)
        return Observation(at.graphite_cross, at.graphite_variance + model**2, -at.graphite, -log(EMPTY_SLOPE_V), untouched=ALL_BUT_CHARGE)
    rest_v = now.voltage_v - volts
    star = family.whole.inverse(rest_v)
    step = SLOPE_STEP
    slope = max((family.whole.at(star + step) - family.whole.at(star - step)) / (2.0 * step), 1.0)
    slopes = dict(at.top_slopes if top else at.graphite_slopes)
    for i, s in beside.items():
        slopes[i] = slopes.get(i, 0.0) + s / slope
    model = AXIS_FRAC + cold * cold * (COLD_TOP_FRAC if top else COLD_BOTTOM_FRAC)
    variance = (white_v2(component, now, rated_ah) / slope**2 + model**2 + (at.shift_frac * SHIFT_DOUBT) ** 2
                + (RATE_DOUBT_FRAC * now.current_a / rated_ah) ** 2)
    stands = at.top if top else at.graphite
    cross = gaussian.times(component.covariance, slopes, SIZE)
    return Observation(cross, gaussian.along(cross, slopes) + variance, star - stands, -log(slope),
                   untouched=(CAPACITY, FILLING) if not swung or cold and not top else ())
