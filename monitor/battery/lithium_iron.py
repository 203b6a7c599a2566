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

CELLS = 4

#: Rest voltage against graphite filling (1: as full as when new), mean of both directions. The
#: steps near 0.3 and 0.72 are graphite's stages, where published curves agree; their absolute
#: height differs by a tenth of a volt between sources, so each battery's own is learnt.
_CURVE = (
    (-0.05, 7.0), (0.0, 9.0), (0.02, 10.6), (0.05, 11.5), (0.08, 12.10), (0.10, 12.32), (0.15, 12.60), (0.20, 12.74),
    (0.25, 12.84), (0.30, 12.92), (0.35, 13.02), (0.40, 13.07), (0.50, 13.11), (0.60, 13.13), (0.68, 13.14),
    (0.72, 13.18), (0.76, 13.25), (0.80, 13.29), (0.90, 13.30), (1.0, 13.31), (1.05, 13.31),
)
#: What the iron phosphate electrode adds close to full, against depth of discharge.
_TOP = ((-0.02, 0.6), (0.0, 0.30), (0.005, 0.20), (0.01, 0.14), (0.02, 0.07), (0.04, 0.02), (0.06, 0.0), (1.05, 0.0))

GAP_V = 0.064        # full distance between charge and discharge [2]
MEMORY_FRAC = 0.06   # part of the capacity that turns the hysteresis round
SELF_DISCHARGE_PER_HOUR = 0.02 / 720   # 1 to 3 % a month (common practice)

_XS, _VS = zip(*_CURVE, strict=True)
_US, _TS = zip(*_TOP, strict=True)


def rest_voltage_v(charge_frac: float, direction: float = 0.0, filling_scale: float = 1.0) -> float:
    """Rest voltage of four cells [V].

    direction is 1 after charging, -1 after discharging, 0 between. filling_scale is how full the
    graphite gets when the battery is full, 1 when new [3].
    """
    return (
        _line(_XS, _VS, charge_frac * filling_scale) + _line(_US, _TS, 1.0 - charge_frac) + direction * GAP_V / 2
    )


def _line(xs: tuple[float, ...], ys: tuple[float, ...], x: float) -> float:
    at = min(max(bisect_right(xs, x), 1), len(xs) - 1)
    x0, y0 = xs[at - 1], ys[at - 1]
    return y0 + (ys[at] - y0) * (min(max(x, xs[0]), xs[-1]) - x0) / (xs[at] - x0)
