"""At what temperature the acid of a lead-acid battery freezes: by its density, and that by voltage or charge."""
from monitor.battery.label import Battery
from monitor.battery.lead_acid import CELLS, construction, rest_voltage_v
from monitor.battery.limits import freezing_table
from monitor.parameters import table

CELL_CONSTANT_V = table("battery", "lead_acid").number("density_constant_v")


def freezing_point_c(density_kg_l: float) -> float:
    """Freezing point [°C] of acid of a density at 25 °C [kg/l]; straight lines between the rows of the manuals.

    >>> freezing_point_c(1.150), freezing_point_c(1.05), freezing_point_c(0.9)
    (-15.0, -3.6, 0.0)
    """
    rows = freezing_table()
    if density_kg_l <= rows[0][0]:
        return rows[0][1]
    for (d0, t0), (d1, t1) in zip(rows, rows[1:], strict=False):
        if density_kg_l <= d1:
            return round(t0 + (t1 - t0) * (density_kg_l - d0) / (d1 - d0), 6)
    return rows[-1][1]


def density_from_rest_voltage_kg_l(rest_v: float) -> float:
    """Density of the acid [kg/l] by the rest voltage of six cells [V]: right for any lead-acid battery, full or dead."""
    return rest_v / CELLS - CELL_CONSTANT_V


def density_of_kg_l(battery: Battery, charge_frac: float) -> float:
    """Density of the acid [kg/l] by the charge left (0 to 1), from that of its own acid when full where the owner gave it.

    A battery below empty has thinner acid than this can say: there only its voltage tells.
    """
    return density_from_rest_voltage_kg_l(rest_voltage_v(construction(battery), min(max(charge_frac, 0.0), 1.0)))
