"""Lithium iron phosphate: the rest-voltage curve with its hysteresis (12 V, four cells in series).

Sources
-------
[1] Prada et al., J. Electrochem. Soc. 160 (2013) A616; Afshar et al. 2017 (arXiv 1709.03970) and
    Chen et al., J. Electrochem. Soc. 167 (2020) 080534 for the electrode curves behind it.
[2] Srinivasan and Newman, Electrochem. Solid-State Lett. 9 (2006) A110, and Dreyer et al.,
    Nature Materials 9 (2010) 448: about 20 mV a cell between charge and discharge.
"""
from bisect import bisect_right

from monitor.parameters import table

P = table("battery", "lithium_iron")
CELLS = P.count("cells")
GAP_V = P.number("gap_v")

_XS, _VS = zip(*P.numbers("rest_curve"), strict=True)


def rest_voltage_v(charge_frac: float, direction: float = 0.0) -> float:
    """Rest voltage of four cells [V].

    charge_frac: charge left, 0 to 1; direction: 1 after charging, -1 after discharging, 0 between.
    """
    at = min(max(bisect_right(_XS, charge_frac), 1), len(_XS) - 1)
    x0, v0 = _XS[at - 1], _VS[at - 1]
    curve_v: float = v0 + (_VS[at] - v0) * (min(max(charge_frac, _XS[0]), _XS[-1]) - x0) / (_XS[at] - x0)
    return curve_v + direction * GAP_V / 2
