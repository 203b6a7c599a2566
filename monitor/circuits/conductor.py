"""What a copper conductor may carry where it lies, how hot it gets, and what it drops."""
from bisect import bisect_right
from itertools import pairwise
from math import log, sqrt

from monitor.circuits.tables import CLASSES_C, CONDUCTORS, TABLE_AMBIENT_C, Size


def class_column(insulation_c: float) -> int:
    """The column of the ampacity table for an insulation: the printed class at or below its own temperature.

    >>> CLASSES_C[class_column(85)]
    80
    """
    column = bisect_right(CLASSES_C, insulation_c) - 1
    if column < 0:
        raise ValueError(f"insulation for {insulation_c:g} °C is below the lowest class of the table, {CLASSES_C[0]} °C")
    return column


def ambient_factor(insulation_c: float, ambient_c: float) -> float:
    """What remains of the table's current in warmer air, sqrt((Tins - Tamb) / (Tins - 30)); 1 in cooler air.

    The law behind the printed factors of NEC table 310.15(B)(1) and IEC 60364-5-52 table B.52.14. 0 where the air is
    as warm as the insulation may get.
    """
    if ambient_c >= insulation_c:
        return 0.0
    return min(1.0, sqrt((insulation_c - ambient_c) / (insulation_c - TABLE_AMBIENT_C)))


def engine_bay_factor(insulation_c: float, ambient_c: float) -> float:
    """The stricter of the law's factor for an engine space (33 CFR 183.425, 50 °C) and the air's own factor."""
    column = CLASSES_C[class_column(insulation_c)]
    return min(float(CONDUCTORS["engine_space"][f"class_{column}"]), ambient_factor(column, ambient_c))


def bundle_factor(loaded_count: int, laid: str = "open") -> float:
    """What remains with so many loaded conductors touching each other: the lowest of the published sets.

    loaded_count : itself among them; laid : "open", "conduit" or "insulation". What the latter two leave to a conductor holds
    for a pair already.

    >>> bundle_factor(1), bundle_factor(2), round(bundle_factor(6), 3), bundle_factor(2, "conduit")
    (1.0, 0.78, 0.546, 1.0)
    """
    if loaded_count < 2 or loaded_count == 2 and laid != "open":
        return 1.0
    grouping, rows = CONDUCTORS["grouping"], CONDUCTORS["grouping"]["circuits"]
    (c0, f0), (c1, f1) = next((a, b) for a, b in pairwise(rows) if 2 * b[0] >= loaded_count)
    factors = [float(grouping["pair"]) * (f0 + (f1 - f0) * (loaded_count / 2 - c0) / (c1 - c0))]
    for table in CONDUCTORS["bundle"]:
        factors += [factor for least, factor in table["rows"] if loaded_count >= least][-1:]
    return min(factors)


def ampacity_a(size: Size, insulation_c: float, ambient_c: float = TABLE_AMBIENT_C, *, engine_bay: bool = False,
               loaded_count: int = 2, laid: str = "open") -> float:
    """What a conductor may carry continuously [A].

    size : a conductor of the table
    insulation_c : temperature printed on its insulation [°C], 60 or more
    ambient_c : air around it [°C]
    engine_bay : it passes the engine bay
    loaded_count : conductors under load that touch each other, itself among them
    laid : "open", "conduit" or "insulation"

    >>> from monitor.circuits.tables import SIZES
    >>> ampacity_a(SIZES["american"][6], 105, loaded_count=1)
    120.0
    """
    column = class_column(insulation_c)
    heat = engine_bay_factor(insulation_c, ambient_c) if engine_bay else ambient_factor(CLASSES_C[column], ambient_c)
    return size.ampacity_a[column] * heat * bundle_factor(loaded_count, laid) * float(CONDUCTORS["laying"][laid])


def temperature_c(current_a: float, ampacity: float, insulation_c: float, ambient_c: float) -> float:
    """How hot the copper gets [°C]: the rise grows with the square of the current, up to the insulation's class at `ampacity`.

    current_a: through it [A]; ampacity: the current that heats it to its class [A]; insulation_c: class of the insulation [°C];
    ambient_c: air around it [°C].
    """
    top = CLASSES_C[class_column(insulation_c)]
    return ambient_c + (top - ambient_c) * (current_a / ampacity) ** 2


def resistance_ratio(copper_c: float) -> float:
    """Resistance of copper against that at 20 °C: (234.5 + T) / 254.5 (IEC 60949).

    >>> round(resistance_ratio(70), 3)
    1.196
    """
    beta = float(CONDUCTORS["short_time"]["beta_k"])
    return (beta + copper_c) / (beta + 20)


def loop_ohm(size: Size, length_m: float, copper_c: float = 20.0) -> float:
    """Resistance out AND back over a one-way length [ohm].

    size: cross-section; length_m: one way [m]; copper_c: how hot it is [°C].
    """
    return 2 * length_m * size.ohm_per_m * resistance_ratio(copper_c)


def adiabatic_k(start_c: float, final_c: float) -> float:
    """k of the adiabatic law t = (k S / I)^2 for copper [A s^0.5 / mm²] (IEC 60364-4-43, 60949).

    >>> round(adiabatic_k(70, 160))
    115
    """
    table = CONDUCTORS["short_time"]
    return float(table["k_constant"]) * sqrt(log(1 + (final_c - start_c) / (table["beta_k"] + start_c)))


def withstand_s(area_mm2: float, current_a: float, start_c: float, insulation_c: float) -> float:
    """How long a short circuit may last before the insulation is spoilt [s]; holds up to 5 s, careful beyond.

    area_mm2 : cross-section [mm²]; current_a : of the short circuit [A]
    start_c : copper before it [°C]; insulation_c : class of the insulation [°C]
    """
    final = CONDUCTORS["short_time"]["final_c"][str(CLASSES_C[class_column(insulation_c)])]
    return (adiabatic_k(start_c, float(final)) * area_mm2 / current_a) ** 2
