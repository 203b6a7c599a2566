"""Gas of a charging lead-acid battery, and the air its compartment needs (EN 50272-2 / EN IEC 62485-2)."""
from dataclasses import dataclass

from monitor.circuits.tables import VENTILATION

CELLS = 6
#: Wider than any house battery of a vehicle [Ah, cells].
CAPACITY_LIMITS_AH, CELL_LIMITS = (1.0, 5000.0), (1, 60)


@dataclass(frozen=True, slots=True)
class Ventilation:
    """What a battery's compartment needs.

    flow_m3_per_h : fresh air [m³/h]; opening_cm2 : inlet and outlet, each [cm²]
    room_m3 : free volume for natural ventilation [m³]; distance_mm : around the vents, no spark or flame [mm]
    gas_ma_per_ah : gassing current that it rests on [mA per Ah]
    """

    flow_m3_per_h: float
    opening_cm2: float
    room_m3: float
    distance_mm: float
    gas_ma_per_ah: float


def gas_current(chemistry: str, boost: bool) -> float:
    """Gassing current of the standard's table [mA per Ah]; boost: the charger's higher voltage, else float.

    Raises
    ------
    ValueError : a chemistry that gives no gas in ordinary use, or an unknown one
    """
    if chemistry == "lfp":
        raise ValueError("lithium iron phosphate gives no gas in ordinary use, so this formula does not apply; "
                         "follow its maker's instructions for where it may stand")
    if chemistry not in ("flooded", "agm", "gel"):
        raise ValueError(f"chemistry {chemistry!r} is not known: flooded, agm or gel")
    return float(VENTILATION["gas_ma_per_ah"][chemistry][1 if boost else 0])


def calculate_ventilation(capacity_ah: float, gas_ma_per_ah: float, cells: int = CELLS) -> Ventilation:
    """Air that keeps hydrogen far below what can explode.

    capacity_ah : rated capacity [Ah]; gas_ma_per_ah : gassing current [mA per Ah]; cells : in series, 6 at 12 V

    >>> found = calculate_ventilation(100, 20)
    >>> round(found.flow_m3_per_h, 2), round(found.opening_cm2, 1)
    (0.6, 16.8)
    """
    low, high = CAPACITY_LIMITS_AH
    if not low <= capacity_ah <= high:
        raise ValueError(f"capacity is {capacity_ah:g} Ah: it must lie between {low:g} and {high:g}, as batteries of vehicles do")
    if not CELL_LIMITS[0] <= cells <= CELL_LIMITS[1]:
        raise ValueError(f"{cells} cells: a 12 V lead-acid battery has 6, and more than {CELL_LIMITS[1]} is no vehicle's")
    if not 0 < gas_ma_per_ah <= 200:
        raise ValueError(f"gassing current is {gas_ma_per_ah:g} mA per Ah: the standard's table runs from 1 to 20; 200 is the limit here")
    table = VENTILATION["flow"]
    flow = table["printed_factor"] * cells * gas_ma_per_ah * capacity_ah * 1e-3
    distance = VENTILATION["distance"]["mm"] * (cells * gas_ma_per_ah * capacity_ah) ** (1 / 3)
    return Ventilation(flow, table["opening_cm2_per_m3_h"] * flow, table["room_ratio"] * flow, distance, gas_ma_per_ah)
