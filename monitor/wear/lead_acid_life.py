"""Lead-acid: how hard a life was on it. Ampere-hours weighted by how they were drawn, and corrosion of the positive grid.

Sources
-------
[1] Schiffer, Sauer, Bindner, Cronin, Lundsager and Kaiser, J. Power Sources 168 (2007) 66: the model, its equations and constants.
[2] Dufo-López, Lujano-Rojas and Bernal-Agustín, Applied Energy 115 (2014) 242: the same with bad charges as a smooth count.
[3] Bindner et al., Risø-R-1515 (2005), figure 11: speed of corrosion against the potential of the positive plate, after Lander.

The papers themselves could not be read again: equations and constants are those on which open ports of them agree, and where
these part the row in parameters.toml says so.
"""
from bisect import bisect_right
from collections.abc import Sequence
from math import exp, log, sqrt

from monitor.battery.lead_acid import CELLS, GASSING_PER_K, GASSING_PER_V, KINDS, rest_voltage_v
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.wear.life_use import YEAR_H, LifeLabel, UseSlot, length_h

P = table("wear", "lead_acid_life")
PART_AFTER, PART_PER_DEPTH = P.number("part_charged_per_h"), P.number("part_charged_depth_per_h")
DEPTH_LIMIT, BAD_BEST = P.number("bad_charge_from_frac"), P.number("bad_charge_best_frac")
BAD_WIDTH, BAD_GROWTH = P.number("bad_charge_width"), P.number("bad_charge_growth")
LONGEST_PART_H, MOST_BAD = P.number("longest_part_charged_h"), P.number("most_bad_charges")
FULL_FRAC, SLOWEST = P.number("full_frac"), P.number("slowest_current_frac")
LAYER_RISE, LAYER_LIMIT = P.number("layering_rise"), P.number("layering_limit")
MIX_RATE, MIX_FROM_V, MIX_REFERENCE_V = P.number("mixing_by_gas_per_h"), P.number("mixing_from_v"), P.number("mixing_reference_v")
DIFFUSION, HEIGHT_M = P.number("diffusion_m2_s"), P.number("plate_height_m")
LAYERING = {"flooded": P.number("layering_flooded"), "agm": P.number("layering_agm"), "gel": P.number("layering_gel")}
CORROSION_V, CORROSION_LN = zip(*((v, log(speed)) for v, speed in P.numbers("corrosion_speed")), strict=True)
PLATE_V, PLATE_SHARE, OPEN_LAYER_V = P.number("plate_full_v"), P.number("plate_share"), P.number("open_layer_v")
CORROSION_DOUBLES_K, CORROSION_AT_C, SLOW_POWER = P.number("corrosion_doubles_k"), P.number("corrosion_reference_c"), P.number("slow_power")
FLOAT_V, FLOAT_AT_C = P.number("float_cell_v"), P.number("float_reference_c")
DISCHARGE_OHM_AH, CHARGE_LIFT_V = P.number("discharge_ohm_ah"), P.number("charge_lift_v")
LOSS_END, LOSS_POWER, CYCLES_WEIGHT = P.number("loss_at_end"), P.number("loss_power"), P.number("cycles_weight")
CORROSION_LOSS = P.number("corrosion_loss")


@dataclass(frozen=True, slots=True)
class Easier:
    """What a life is spared in the question "how long would it last without": nothing, unless said.

    warmest_c: it never gets warmer [°C]; longest_part_h: it is full again at the latest after so long [h]; layering: whether acid
    may layer; deepest_frac: it never goes deeper; highest_cell_v: its charger never goes higher [V a cell].
    """

    warmest_c: float = 1e3
    longest_part_h: float = 1e9
    layering: bool = True
    deepest_frac: float = 1.0
    highest_cell_v: float = 1e3


NOTHING_SPARED = Easier()


@dataclass(frozen=True, slots=True)
class FullRule:
    """What counts as a full charge: held_frac kept on charge for held_h [h], or surely_frac."""

    held_frac: float
    held_h: float
    surely_frac: float


#: The equations ask for 99.99 %, which neither a log nor a plan can tell, and practice is content with less: all that may be meant, the
#: mildest first.
FULL_RULES = tuple(FullRule(*row) for row in P.numbers("full_rules"))
USUAL_FULL = FULL_RULES[1]


@dataclass(frozen=True, slots=True)
class LeadWear:
    """What a life does to a lead-acid battery in a year.

    full_cycles: Ah drawn over the rating; weighted_cycles: the same, weighted [1][2]; corrosion: growth of the layer where it lies
    open, and slow_corrosion where it protects itself, both in the unit of [3] (hours times speed).
    """

    full_cycles: float
    weighted_cycles: float
    corrosion: float
    slow_corrosion: float


def wear_a_year(slots: Sequence[UseSlot], label: LifeLabel, spared: Easier = NOTHING_SPARED, full: FullRule = USUAL_FULL) -> LeadWear:
    """The wear of a life, brought to a year.

    Only the part of it after its first full charge tells how long a battery stood part-charged; a life that is never full counts
    from its beginning. slots: the life, oldest first; label: the battery's; spared: what it is spared; full: what counts
    as a full charge.

    Raises
    ------
    ValueError : a life without length
    """
    total_h = length_h(slots)
    kind, capacity = KINDS[label.chemistry], label.rated_capacity_ah
    ten_hour_a = capacity * (10.0 / label.rated_hours) ** (1.0 - 1.0 / kind.peukert) / 10.0
    full_cell_v, span_cell_v = kind.full_v / CELLS, kind.span_v / CELLS
    diffusion_per_h = 8.0 * DIFFUSION * 3600.0 / HEIGHT_M**2
    layering = LAYERING[label.chemistry] if spared.layering else 0.0
    since_full_h = bad_charges = layer = held_h = 0.0
    lowest, top, by_current, drawn_ah, drawn_h = 1.0, 0.0, 1.0, 0.0, 0.0
    above = True
    plain = weighted = fast = slow = 0.0
    for slot in slots:
        hours, charge = slot.hours, max(slot.charge_frac, 1.0 - spared.deepest_frac)
        warm_c = min(slot.temperature_c, spared.warmest_c)
        cell_v = min(cell_voltage_v(slot, label), spared.highest_cell_v)
        held_h = held_h + hours if charge >= full.held_frac and slot.charge_ah >= slot.discharge_ah else 0.0
        if 0.0 < held_h >= full.held_h or charge >= full.surely_frac:
            since_full_h = bad_charges = 0.0
            lowest = 1.0
        since_full_h = min(since_full_h + hours, spared.longest_part_h, LONGEST_PART_H)
        if charge >= DEPTH_LIMIT:
            if not above:
                above, top, drawn_ah, drawn_h = True, 0.0, 0.0, 0.0
            top = max(top, charge)
        if slot.discharge_ah > 0:
            drawn_ah, drawn_h = drawn_ah + slot.discharge_ah, drawn_h + hours
        if above and charge < DEPTH_LIMIT:
            above = False
            if since_full_h > 0.0 and spared.longest_part_h > 1e8:
                bad_charges = min(bad_charges + bad_charge(top), MOST_BAD)
            by_current = current_factor(drawn_ah / drawn_h if drawn_h else 0.0, ten_hour_a, bad_charges)
        lowest = min(lowest, charge)
        if slot.discharge_ah > 0:
            current = slot.discharge_ah / hours
            layer += hours * LAYER_RISE * layering * (1.0 - lowest) * exp(-LAYER_LIMIT * layer) * current / ten_hour_a
            plain += slot.discharge_ah
            weighted += (slot.discharge_ah * state_factor(lowest, since_full_h, by_current)
                         * acid_factor(layer, current, ten_hour_a))
        if layer > 0.0:
            mixed = diffusion_per_h * layer * 2.0 ** ((warm_c - 20.0) / 10.0)
            if cell_v > MIX_FROM_V:
                mixed += MIX_RATE * sqrt(100.0 / capacity) * exp(min(
                    GASSING_PER_V * (cell_v - MIX_REFERENCE_V) + GASSING_PER_K * (warm_c - CORROSION_AT_C), 5.0))
            layer = max(layer - hours * mixed, 0.0)
        plate_v = plate_voltage_v(charge, cell_v, full_cell_v, span_cell_v)
        speed = corrosion_speed(plate_v, warm_c)
        if plate_v >= OPEN_LAYER_V:
            fast += speed * hours
        else:
            slow += speed ** (1.0 / SLOW_POWER) * hours
    years = YEAR_H / total_h
    return LeadWear(plain / capacity * years, weighted / capacity * years, fast * years, slow * years)


def state_factor(lowest_frac: float, since_full_h: float, by_current: float) -> float:
    """Weight of an ampere-hour by how long ago the battery was full and how deep it has been since ([1] eq. 17).

    lowest_frac: lowest charge since then, 0 to 1; since_full_h: hours since it was full; by_current: factor of the current.

    >>> round(state_factor(0.5, 72.0, current_factor(5.0, 10.0, 0.0)), 3)
    1.173
    """
    return 1.0 + (PART_AFTER + PART_PER_DEPTH * (1.0 - lowest_frac) * by_current) * since_full_h


def current_factor(current_a: float, ten_hour_a: float, bad_charges: float) -> float:
    """How coarse sulphate gets: small currents and bad charges make few large crystals ([1] eq. 18).

    current_a: drawn after the last charge [A]; ten_hour_a: the ten-hour current [A]; bad_charges: since the last full charge.
    """
    return sqrt(ten_hour_a / max(current_a, SLOWEST * ten_hour_a)) * exp(bad_charges / BAD_GROWTH)


def bad_charge(top_frac: float) -> float:
    """What a charge that ended there counts as a bad one, 0 to 1 ([2] eq. 13)."""
    return max(1.0 - ((BAD_BEST - top_frac) / BAD_WIDTH) ** 2, 0.0)


def acid_factor(layering: float, current_a: float, ten_hour_a: float) -> float:
    """Weight of an ampere-hour by how far the acid is layered ([1] eq. 22).

    layering: degree of it; current_a: drawn [A]; ten_hour_a: the ten-hour current [A].
    """
    return 1.0 + layering * sqrt(ten_hour_a / max(current_a, SLOWEST * ten_hour_a))


def cell_voltage_v(slot: UseSlot, label: LifeLabel) -> float:
    """Voltage of a cell in a slot [V]: measured where it was, else what charger, charge and current would make of it."""
    if slot.voltage_v is not None:
        return slot.voltage_v / CELLS
    kind = KINDS[label.chemistry]
    rest_v = rest_voltage_v(kind, slot.charge_frac) / CELLS
    net_ah = slot.charge_ah - slot.discharge_ah
    if net_ah > 0:
        if slot.charge_frac < FULL_FRAC:
            return min(rest_v + CHARGE_LIFT_V, label.absorption_v / CELLS)
        return label.absorption_v / CELLS
    if slot.charge_ah > 0 and slot.charge_frac >= FULL_FRAC:
        return label.float_v / CELLS
    return rest_v + DISCHARGE_OHM_AH * net_ah / (slot.hours * label.rated_capacity_ah)


def plate_voltage_v(charge_frac: float, cell_v: float, full_cell_v: float, span_cell_v: float) -> float:
    """Potential of the positive plate that corrosion goes by [V] ([1] eq. 5: half of what drives the cell falls on it).

    charge_frac: charge left, 0 to 1; cell_v: of the cell [V]; full_cell_v: of a rested full cell [V]; span_cell_v: by which that
    falls down to empty [V].
    """
    depth = 1.0 - charge_frac
    return PLATE_V - PLATE_SHARE * span_cell_v * depth + 0.5 * (cell_v - (full_cell_v - span_cell_v * depth))


def corrosion_speed(plate_v: float, temperature_c: float) -> float:
    """Speed of corrosion in the unit of [3], straight lines between the logarithms of its rows; doubles every 15 K [1].

    >>> round(corrosion_speed(1.739, 25.0), 4), round(corrosion_speed(1.739, 40.0), 4)
    (0.0168, 0.0337)
    """
    at = min(max(bisect_right(CORROSION_V, plate_v), 1), len(CORROSION_V) - 1)
    v0, v1, y0, y1 = CORROSION_V[at - 1], CORROSION_V[at], CORROSION_LN[at - 1], CORROSION_LN[at]
    held = min(max(plate_v, CORROSION_V[0]), CORROSION_V[-1])
    return exp(y0 + (y1 - y0) * (held - v0) / (v1 - v0)) * 2.0 ** ((temperature_c - CORROSION_AT_C) / CORROSION_DOUBLES_K)


def corrosion_at_end(label: LifeLabel, float_years: float) -> float:
    """The layer of a battery that stood on float for as many years as its data sheet promises, in the unit of [3]."""
    kind = KINDS[label.chemistry]
    plate_v = plate_voltage_v(1.0, FLOAT_V, kind.full_v / CELLS, kind.span_v / CELLS)
    return float_years * YEAR_H * corrosion_speed(plate_v, FLOAT_AT_C)


def degradation_loss(weighted_cycles: float, cycles: float) -> float:
    """Part of the capacity lost by wear of the active mass ([1] eq. 13).

    >>> [round(degradation_loss(ratio * 500, 500), 3) for ratio in (0.5, 0.8, 1.0, 1.6)]
    [0.026, 0.066, 0.123, 0.8]
    """
    return LOSS_END * exp(min(-LOSS_POWER * (1.0 - weighted_cycles / (CYCLES_WEIGHT * cycles)), 3.0))


def layer_after(wear: LeadWear, years: Sequence[float]) -> list[float]:
    """The corrosion layer after so many years of this wear, rising; in the unit of [3].

    Where it lies open it grows with time, where it protects itself with a power of time ([1] eq. 8).
    """
    layer, at, found = 0.0, 0.0, []
    for year in years:
        step = year - at
        layer = (layer ** (1.0 / SLOW_POWER) + wear.slow_corrosion * step) ** SLOW_POWER + wear.corrosion * step
        at = year
        found.append(layer)
    return found
