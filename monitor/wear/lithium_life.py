"""Lithium iron phosphate: capacity lost by time and by use, by three published sets of parameters that do not agree.

Sources
-------
[1] Naumann et al., J. Energy Storage 17 (2018) 153: calendar; J. Power Sources 451 (2020) 227666: cycles. A cell of 3 Ah.
[2] Schimpe et al., J. Electrochem. Soc. 165 (2018) A181, table IV: calendar, cycles warm and cold. The same cell, another fit.
[3] Wang et al., J. Power Sources 196 (2011) 3942: cycles of a cell of 2.2 Ah; its calendar part is taken as the mean of [1] and [2].
[4] Safari and Delacourt, J. Electrochem. Soc. 158 (2011) A562: potential of graphite, that [2] goes by.
"""
from collections.abc import Callable, Sequence
from math import exp, sqrt, tanh

from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.wear.life_use import YEAR_H, LifeLabel, UseSlot, length_h

P = table("wear", "lithium_life")
GAS_J, FARADAY, REFERENCE_C = P.number("gas_j_mol_k"), P.number("faraday_c_mol"), P.number("reference_c")
ZERO_C = table("battery", "units").number("zero_c_k")
N_TIME, N_TIME_J = P.number("naumann_time_per_root_s"), P.number("naumann_time_j_mol")
N_CHARGE = P.numbers("naumann_charge")
N_RATE, N_DEPTH = P.numbers("naumann_rate_pct"), P.numbers("naumann_depth")
S_TIME, S_TIME_J = P.number("schimpe_time_per_root_h"), P.number("schimpe_time_j_mol")
S_ALPHA, S_POTENTIAL_V, S_FLOOR = P.number("schimpe_alpha"), P.number("schimpe_potential_v"), P.number("schimpe_floor")
S_WARM, S_WARM_J = P.number("schimpe_warm_per_root_ah"), P.number("schimpe_warm_j_mol")
S_COLD, S_COLD_J, S_COLD_RATE_H = P.number("schimpe_cold_per_root_ah"), P.number("schimpe_cold_j_mol"), P.number("schimpe_cold_rate_h")
S_HIGH, S_HIGH_J, S_HIGH_RATE_H = P.number("schimpe_high_per_ah"), P.number("schimpe_high_j_mol"), P.number("schimpe_high_rate_h")
S_HIGH_FROM, S_CELL_AH = P.number("schimpe_high_from_frac"), P.number("schimpe_cell_ah")
W_FACTOR, W_J, W_POWER, W_CELL_AH = P.number("wang_factor_pct"), P.number("wang_j_mol"), P.number("wang_power"), P.number("wang_cell_ah")
GRAPHITE, GRAPHITE_STEPS = P.numbers("graphite_filling"), P.numbers("graphite_steps")
GRAPHITE_V, GRAPHITE_EMPTY_V, GRAPHITE_EMPTIES = P.number("graphite_v"), P.number("graphite_empty_v"), P.number("graphite_empties")
MODELS = ("Naumann", "Schimpe", "Wang")


@dataclass(frozen=True, slots=True)
class EasierLithium:
    """What a life is spared in the question "how long would it last without".

    warmest_c: it never gets warmer [°C]; fullest_frac: it does not stand fuller between uses; coldest_charge_c: it is never
    charged colder [°C]; unused: it is not used at all.
    """

    warmest_c: float = 1e3
    fullest_frac: float = 1.0
    coldest_charge_c: float = -1e3
    unused: bool = False


NOTHING_SPARED = EasierLithium()


@dataclass(frozen=True, slots=True)
class LithiumWear:
    """What a life does to a lithium iron phosphate battery in a year.

    Squares of what goes with a root (they add up over changing conditions), and plain sums of what goes straight.
    """

    full_cycles: float
    naumann_time: float
    naumann_use: float
    schimpe_time: float
    schimpe_warm: float
    schimpe_cold: float
    schimpe_high: float
    wang_use: float


def wear_a_year(slots: Sequence[UseSlot], label: LifeLabel, spared: EasierLithium = NOTHING_SPARED,
                depths: Sequence[float] | None = None) -> LithiumWear:
    """The wear of a life, brought to a year.

    slots: the life, oldest first; label: the battery's; spared: what it is spared; depths: `swing_depths` of the slots where they are
    known already.

    Raises
    ------
    ValueError : a life without length
    """
    total_h = length_h(slots)
    capacity = label.rated_capacity_ah
    depths = swing_depths(slots, capacity) if depths is None else depths
    cycles = n_time = n_use = s_time = s_warm = s_cold = s_high = w_use = 0.0
    for slot, depth in zip(slots, depths, strict=True):
        warm_c = min(slot.temperature_c, spared.warmest_c)
        charge = min(slot.charge_frac, spared.fullest_frac)
        n_time += (N_TIME * arrhenius(N_TIME_J, warm_c) * naumann_by_charge(charge)) ** 2 * slot.hours * 3600.0
        s_time += (S_TIME * arrhenius(S_TIME_J, warm_c) * schimpe_by_charge(charge)) ** 2 * slot.hours
        through = 0.0 if spared.unused else (slot.charge_ah + slot.discharge_ah) / capacity
        if not through:
            continue
        into = slot.charge_ah / capacity
        rate_per_h, charged_per_h = through / slot.hours, into / slot.hours
        cycles += through / 2.0
        n_use += (naumann_by_use(rate_per_h, depth) / 100.0) ** 2 * through / 2.0
        s_warm += (S_WARM * arrhenius(S_WARM_J, warm_c)) ** 2 * through * S_CELL_AH
        w_use += (W_FACTOR / 100.0 * exp(-W_J / (GAS_J * (warm_c + ZERO_C)))) ** (1.0 / W_POWER) * through * W_CELL_AH
        if into:
            cold_c = max(warm_c, spared.coldest_charge_c)
            s_cold += (S_COLD / arrhenius(S_COLD_J, cold_c) * exp(S_COLD_RATE_H * (charged_per_h - 1.0))) ** 2 * into * S_CELL_AH
            if charge > S_HIGH_FROM:
                s_high += S_HIGH / arrhenius(S_HIGH_J, cold_c) * exp(S_HIGH_RATE_H * (charged_per_h - 1.0)) * into * S_CELL_AH
    years = YEAR_H / total_h
    return LithiumWear(*(x * years for x in (cycles, n_time, n_use, s_time, s_warm, s_cold, s_high, w_use)))


def loss_of(wear: LithiumWear, model: str) -> Callable[[float], float]:
    """Part of the capacity lost after so many years of this wear, by one of MODELS."""
    naumann_time, schimpe_time = sqrt(wear.naumann_time), sqrt(wear.schimpe_time)
    if model == "Naumann":
        by_root, straight, by_power = naumann_time + sqrt(wear.naumann_use), 0.0, 0.0
    elif model == "Schimpe":
        by_root, straight, by_power = schimpe_time + sqrt(wear.schimpe_warm) + sqrt(wear.schimpe_cold), wear.schimpe_high, 0.0
    else:
        by_root, straight, by_power = (naumann_time + schimpe_time) / 2.0, 0.0, wear.wang_use ** W_POWER

    def loss(years: float) -> float:
        lived = max(years, 0.0)
        return by_root * sqrt(lived) + straight * lived + by_power * lived**W_POWER

    return loss


def arrhenius(energy_j_mol: float, temperature_c: float) -> float:
    """How many times as fast as at 25 °C.

    >>> round(arrhenius(52_900.0, 35.0), 2)
    2.0
    """
    return exp(-energy_j_mol / GAS_J * (1.0 / (temperature_c + ZERO_C) - 1.0 / (REFERENCE_C + ZERO_C)))


def naumann_by_charge(charge_frac: float) -> float:
    """Influence of the charge on ageing with time [1]."""
    slope, level = N_CHARGE
    return float(slope * (charge_frac - 0.5) ** 3 + level)


def naumann_by_use(rate_per_h: float, depth_frac: float) -> float:
    """Per cent lost by the first full cycle [1]; grows with the root of their number.

    rate_per_h: current over capacity [1/h]; depth_frac: depth of the cycles, 0 to 1.
    """
    (slope, level), (bend, middle, floor) = N_RATE, N_DEPTH
    return float((slope * rate_per_h + level) * (bend * (depth_frac - middle) ** 3 + floor))


def schimpe_by_charge(charge_frac: float) -> float:
    """Influence of the charge on ageing with time [2], by the potential of graphite."""
    return exp(S_ALPHA * FARADAY * (S_POTENTIAL_V - graphite_v(charge_frac)) / (GAS_J * (REFERENCE_C + ZERO_C))) + S_FLOOR


def graphite_v(charge_frac: float) -> float:
    """Potential of graphite against lithium [V] by charge of the cell, 0 to 1 [4]."""
    empty, full = GRAPHITE
    x = empty + min(max(charge_frac, 0.0), 1.0) * (full - empty)
    volts = GRAPHITE_V + GRAPHITE_EMPTY_V * exp(-GRAPHITE_EMPTIES * x)
    for step_v, at, width in GRAPHITE_STEPS:
        volts -= step_v * tanh((x - at) / width)
    return float(volts)


def swing_depths(slots: Sequence[UseSlot], capacity_ah: float) -> list[float]:
    """For each slot the depth of the swing it belongs to: from the highest to the lowest charge of the 24 h that end with it.

    Of a slot that is a day or longer only its end is known: what it gave in 24 h is a swing of its own. slots: the life, oldest first;
    capacity_ah: of the battery [Ah].

    >>> swing_depths([UseSlot(24.0, 0.9, 31.0, 30.0, 20.0)], 100.0)
    [0.3]
    """
    found: list[float] = []
    first, span_h = 0, 0.0
    for at, slot in enumerate(slots):
        span_h += slot.hours
        while span_h - slots[first].hours >= 24.0 and first < at:
            span_h -= slots[first].hours
            first += 1
        if first == at:
            found.append(min(slot.discharge_ah / capacity_ah * min(24.0 / slot.hours, 1.0), 1.0) if slot.hours else 0.0)
            continue
        window = [s.charge_frac for s in slots[first:at + 1]]
        found.append(max(window) - min(window))
    return found
