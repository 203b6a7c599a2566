"""The electromotive force of a lead-acid cell from the activities of acid and water in it.

Pb + PbO2 + 2 H2SO4 -> 2 PbSO4 + 2 H2O moves two electrons, so by Nernst
E = E0 + (RT/F) ln(a_acid / a_water), with a_acid = 4 m^3 gamma^3 and
ln a_water = -3 m phi M_water.

Sources
-------
gamma, phi at 25 °C: Robinson and Stokes, Electrolyte Solutions, 2nd ed. 1965, appendix 8.10 (from memory).
E0: Bode, Lead-Acid Batteries, 1977 (from memory). The outcome is checked against his polynomial in
tests/drivers/test_vehicle.py.
"""
from bisect import bisect_right
from math import exp, log

E0_V = 2.0410
RT_OVER_F_V = 0.025693
WATER_KG_PER_MOL = 0.018015
ACID_MOL_PER_AH = 3600.0 / 96485.33   # per cell: two of acid for two electrons

#: molality [mol/kg], mean ionic activity coefficient, osmotic coefficient
_TABLE = (
    (0.1, 0.2655, 0.680), (0.2, 0.2090, 0.668), (0.5, 0.1557, 0.676), (1.0, 0.1316, 0.721), (1.5, 0.1263, 0.780),
    (2.0, 0.1276, 0.846), (2.5, 0.1331, 0.916), (3.0, 0.1422, 0.991), (3.5, 0.1547, 1.071), (4.0, 0.1700, 1.150),
    (4.5, 0.1875, 1.224), (5.0, 0.2081, 1.299), (5.5, 0.2312, 1.372), (6.0, 0.2567, 1.445), (7.0, 0.3166, 1.584),
    (8.0, 0.3860, 1.709),
)
_M = [row[0] for row in _TABLE]


def emf_v(molality: float) -> float:
    """Electromotive force of one cell at 25 °C [V]; acid from 0.1 to 8 mol/kg, kept to the ends outside."""
    m = min(max(molality, _M[0]), _M[-1])
    at = min(max(bisect_right(_M, m), 1), len(_M) - 1)
    (m0, g0, p0), (m1, g1, p1) = _TABLE[at - 1], _TABLE[at]
    part = log(m / m0) / log(m1 / m0)
    gamma = exp(log(g0) + part * log(g1 / g0))
    water = exp(-3.0 * m * (p0 + part * (p1 - p0)) * WATER_KG_PER_MOL)
    return E0_V + RT_OVER_F_V * log(4.0 * (m * gamma) ** 3 / water)


def molality_at(voltage_v: float) -> float:
    """The acid [mol/kg] whose cell has this electromotive force [V], by halving."""
    low, high = 0.1, 8.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if emf_v(middle) < voltage_v else (low, middle)
    return (low + high) / 2


def curve_v(full_v: float, empty_v: float, depths: list[float]) -> list[float]:
    """Electromotive force of one cell [V] at depths of discharge 0 (full acid) to 1, beyond included.

    full_v and empty_v fix the acid at both ends; between them charge takes acid and gives water, both
    in proportion. The cell's water [kg per Ah of its reservoir] follows from the two ends.

    full_v, empty_v: of one cell at depth 0 and 1 [V]; depths: of discharge [1].
    """
    strong, weak = molality_at(full_v), molality_at(empty_v)
    used = ACID_MOL_PER_AH
    water = used * (1.0 + weak * WATER_KG_PER_MOL) / (strong - weak)
    return [emf_v((strong * water - used * x) / (water + WATER_KG_PER_MOL * used * x)) for x in depths]
