"""Lithium iron phosphate: the rest-voltage curve with its hysteresis (12 V, four cells in series).

Sources
-------
[1] Prada et al., J. Electrochem. Soc. 160 (2013) A616; Afshar et al. 2017 (arXiv 1709.03970) and
    Chen et al., J. Electrochem. Soc. 167 (2020) 080534 for the electrode curves behind it.
[2] Srinivasan and Newman, Electrochem. Solid-State Lett. 9 (2006) A110, and Dreyer et al.,
    Nature Materials 9 (2010) 448: about 20 mV a cell between charge and discharge.
[3] Safari and Delacourt, J. Electrochem. Soc. 158 (2011) A1123 (from memory): ageing takes cyclable
    lithium, so the steps of graphite stay where they are in ampere-hours counted from empty.
"""
from bisect import bisect_right

from monitor.parameters import table

P = table("battery", "lithium_iron")
CELLS = P.count("cells")
_CURVE, _TOP = P.numbers("rest_curve"), P.numbers("top_rise")
GAP_V = P.number("gap_v")

_XS, _VS = zip(*_CURVE, strict=True)
_US, _TS = zip(*_TOP, strict=True)


def rest_voltage_v(charge_frac: float, direction: float = 0.0, filling_scale: float = 1.0) -> float:
    """Rest voltage of four cells [V].

    direction is 1 after charging, -1 after discharging, 0 between. filling_scale is how full the
    graphite gets when the battery is full, 1 when new [3].
    charge_frac: charge left, 0 to 1; direction: 1 after charging, -1 after discharging, 0 between; filling_scale: how full the
    graphite gets, 1 when new.
    """
    return (
        _line(_XS, _VS, charge_frac * filling_scale) + _line(_US, _TS, 1.0 - charge_frac) + direction * GAP_V / 2
    )


def _line(xs: tuple[float, ...], ys: tuple[float, ...], x: float) -> float:
    at = min(max(bisect_right(xs, x), 1), len(xs) - 1)
    x0, y0 = xs[at - 1], ys[at - 1]
    return y0 + (ys[at] - y0) * (min(max(x, xs[0]), xs[-1]) - x0) / (xs[at] - x0)
