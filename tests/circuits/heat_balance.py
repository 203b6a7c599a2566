"""How hot a cable gets by first principles: Joule heat against natural convection and radiation, solved by scipy.

Shares no table, factor or formula with monitor/circuits: resistance from copper's resistivity and temperature coefficient,
air from Sutherland's law, convection by Churchill and Chu (Int. J. Heat Mass Transfer 18 (1975) 1049), radiation by
Stefan and Boltzmann, the air inside a conduit by IEC 60287-2-1 (U, V, Y of a fibre duct, from memory), a wall's insulation as a
sleeve of mineral wool 30 mm thick. Outside diameters: thin-wall road-vehicle cable, ISO 6722-1 (from memory), the smallest surface that
such a conductor is sold with.
"""
from math import log, pi, sqrt

import scipy

#: Conductor [mm2] -> largest outside diameter of thin-wall cable [mm].
OUTSIDE_MM = ((0.5, 1.6), (0.75, 1.9), (1.0, 2.1), (1.5, 2.4), (2.5, 3.0), (4.0, 3.7), (6.0, 4.3), (10.0, 6.0), (16.0, 7.2),
              (25.0, 8.7), (35.0, 10.4), (50.0, 12.2), (70.0, 14.4), (95.0, 16.7), (120.0, 18.7))
#: Copper: resistivity at 20 °C with 3 % for stranding [ohm mm2/m], temperature coefficient at 20 °C [1/K] (IEC 60028).
RHO, ALPHA = 1.03 * 0.017241, 0.00393
#: Of plastic insulation; Stefan-Boltzmann; gravity.
EMISSIVITY, SIGMA, GRAVITY = 0.9, 5.670374e-8, 9.80665


def outside_m(area_mm2: float) -> float:
    """Outside diameter by area, straight lines between the standard's sizes [m]."""
    for (a0, d0), (a1, d1) in zip(OUTSIDE_MM, OUTSIDE_MM[1:], strict=False):
        if area_mm2 <= a1:
            return (d0 + (d1 - d0) * (area_mm2 - a0) / (a1 - a0)) / 1000
    return OUTSIDE_MM[-1][1] / 1000


def lost_w_per_m(surface_c: float, air_c: float, diameter_m: float, perimeter_m: float) -> float:
    """Heat that a horizontal cylinder gives to still air [W/m]."""
    film_k = (surface_c + air_c) / 2 + 273.15
    viscosity = 1.458e-6 * film_k**1.5 / (film_k + 110.4)          # Sutherland
    conductivity = 2.64638e-3 * film_k**1.5 / (film_k + 245.4 * 10 ** (-12 / film_k))
    density = 101325 / (287.05 * film_k)
    prandtl = 1006 * viscosity / conductivity
    rayleigh = GRAVITY / film_k * max(surface_c - air_c, 1e-9) * diameter_m**3 * (density / viscosity) ** 2 * prandtl
    nusselt = (0.60 + 0.387 * rayleigh ** (1 / 6) / (1 + (0.559 / prandtl) ** (9 / 16)) ** (8 / 27)) ** 2
    convected = nusselt * conductivity / diameter_m * perimeter_m * (surface_c - air_c)
    radiated = EMISSIVITY * SIGMA * perimeter_m * ((surface_c + 273.15) ** 4 - (air_c + 273.15) ** 4)
    return convected + radiated


#: IEC 60287-2-1: fibre duct in air. Conduit against the bundle inside; insulation: W/(m K) and thickness [m].
DUCT_U, DUCT_V, DUCT_Y, DUCT_RATIO = 5.2, 0.83, 0.006, 1.6
WOOL_W_PER_M_K, WOOL_M = 0.04, 0.03


def steady_c(area_mm2: float, current_a: float, air_c: float, loaded_count: int = 1, laid: str = "open") -> float:
    """Temperature of the copper in the end [°C]; loaded_count cables of the same current tied into one round bundle."""
    own = outside_m(area_mm2)
    bundle = own * (1.0 if loaded_count < 2 else 2.0 if loaded_count == 2 else sqrt(loaded_count / 0.75))
    perimeter = (2 + pi) * own if loaded_count == 2 else pi * bundle  # two side by side: the hull around them

    def left(copper_c: float) -> float:
        heat = loaded_count * current_a**2 * RHO / area_mm2 * (1 + ALPHA * (copper_c - 20))
        if laid == "open":
            return heat - lost_w_per_m(copper_c, air_c, bundle, perimeter)
        if laid == "conduit":
            inner = DUCT_U / (1 + 0.1 * (DUCT_V + DUCT_Y * (copper_c + air_c) / 2) * 1000 * bundle)
            outside = DUCT_RATIO * bundle
        else:
            outside = bundle + 2 * WOOL_M
            inner = log(outside / bundle) / (2 * pi * WOOL_W_PER_M_K)
        surface = scipy.optimize.brentq(lambda t: lost_w_per_m(t, air_c, outside, pi * outside) - (copper_c - t) / inner, air_c, copper_c)
        return heat - (copper_c - surface) / inner

    return scipy.optimize.brentq(left, air_c + 1e-6, air_c + 5000)
