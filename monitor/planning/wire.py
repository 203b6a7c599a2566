"""Cable sizes: resistance, voltage drop, and the thinnest cable that keeps a drop within its limit."""
from dataclasses import dataclass

#: Largest resistance at 20 °C [ohm per km] of plain copper conductors by cross-section [mm2]:
#: (class 2 stranded, class 5 flexible, class 5 tinned). IEC 60228; note that for 50 mm2 the
#: standard allows a flexible conductor less than a stranded one.
IEC_60228_OHM_PER_KM = {
    6.0: (3.08, 3.30, 3.39), 10.0: (1.83, 1.91, 1.95), 16.0: (1.15, 1.21, 1.24), 25.0: (0.727, 0.780, 0.795),
    35.0: (0.524, 0.554, 0.565), 50.0: (0.387, 0.386, 0.393), 70.0: (0.268, 0.272, 0.277),
}

#: Smallest area [circular mil] of each size of boat and vehicle cable by SAE gauge (from memory,
#: checked against the printed voltage-drop tables of ABYC E-11).
SAE_CIRCULAR_MIL = {
    "18": 1537, "16": 2336, "14": 3702, "12": 5833, "10": 9343, "8": 14810, "6": 25910, "4": 37360, "2": 62450,
    "1": 77790, "0": 98980, "2/0": 125100, "3/0": 158600, "4/0": 205500,
}

#: Voltage drop that practice allows [per cent]: ABYC E-11 (two reprints).
CRITICAL_DROP_PCT = 3.0
ORDINARY_DROP_PCT = 10.0

CLASS_2, CLASS_5, CLASS_5_TINNED = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Choice:
    """A cable and what it drops."""

    area_mm2: float
    drop_v: float
    drop_pct: float
    loss_w: float


def resistance_ohm(area_mm2: float, loop_m: float, temperature_c: float = 20.0, conductor: int = CLASS_5) -> float:
    """Resistance of a loop of cable, out and back [ohm].

    Warm copper resists more: R(t) = R20 (230 + t) / 250, the identity behind the printed factors
    of the trade's correction tables (0.980 at 25 °C, 0.833 at 70 °C).

    Raises
    ------
    ValueError : the cross-section is not one of the table
    """
    if area_mm2 not in IEC_60228_OHM_PER_KM:
        raise ValueError(f"no cable of {area_mm2:g} mm2 in the table; take one of "
                         + ", ".join(f"{a:g}" for a in IEC_60228_OHM_PER_KM))
    return IEC_60228_OHM_PER_KM[area_mm2][conductor] * loop_m / 1000 * (230 + temperature_c) / 250


def choose(current_a: float, loop_m: float, drop_limit_pct: float = CRITICAL_DROP_PCT, voltage_v: float = 12.0,
           temperature_c: float = 20.0, conductor: int = CLASS_5) -> Choice:
    """The thinnest cable of the table whose drop stays within the limit.

    loop_m is the length of copper, out AND back. What a cable may carry without overheating is
    another question: follow the local code and the cable's own data.

    Raises
    ------
    ValueError : a figure is not above 0, or even the thickest cable drops too much
    """
    for name, value in (("current", current_a), ("length", loop_m), ("limit", drop_limit_pct),
                        ("voltage", voltage_v)):
        if not value > 0:
            raise ValueError(f"{name} is {value:g}: it must be above 0")
    for area_mm2 in IEC_60228_OHM_PER_KM:
        drop_v = current_a * resistance_ohm(area_mm2, loop_m, temperature_c, conductor)
        if 100 * drop_v / voltage_v <= drop_limit_pct:
            return Choice(area_mm2, drop_v, 100 * drop_v / voltage_v, drop_v * current_a)
    raise ValueError(f"even 70 mm2 drops more than {drop_limit_pct:g} % with {current_a:g} A over {loop_m:g} m; "
                     "shorten the run, share it between two cables, or raise the voltage of that circuit")


def needed_circular_mil(current_a: float, loop_ft: float, drop_v: float) -> float:
    """Area that a run needs [circular mil], CM = 10.75 I L / E (ABYC E-11; from memory, checked).

    >>> round(needed_circular_mil(25, 30, 0.36))
    22396
    """
    return 10.75 * current_a * loop_ft / drop_v


def gauge(current_a: float, loop_ft: float, drop_limit_pct: float = CRITICAL_DROP_PCT, voltage_v: float = 12.0) -> str:
    """The thinnest SAE gauge whose area is at least what the formula asks for.

    >>> gauge(25, 30)
    '6'
    """
    needed = needed_circular_mil(current_a, loop_ft, voltage_v * drop_limit_pct / 100)
    for name, area in SAE_CIRCULAR_MIL.items():
        if area >= needed:
            return name
    raise ValueError(f"no single cable of the table is thick enough for {current_a:g} A over {loop_ft:g} ft")
