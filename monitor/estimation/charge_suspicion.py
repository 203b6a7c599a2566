"""Three things that spoil every figure: a shunt wired backwards, another battery, another chemistry."""
from monitor.battery import lead_acid
from monitor.battery.label import Battery
from monitor.estimation import step_resistance, swap_evidence
from monitor.estimation.charge_count import Count
from monitor.estimation.step_resistance import Bins, Resistance
from monitor.estimation.swap_evidence import STEP_PER_H, SwapEvidence
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("estimation", "charge_suspicion")
MAYBE_REVERSED, REVERSED_AFTER = P.number("maybe_reversed"), P.number("reversed_after")
MOST, LEAST_RISE_V = P.number("most"), P.number("least_rise_v")
LEAST_OHM_AH, MOST_OHM_AH = P.number("least_ohm_ah"), P.number("most_ohm_ah")
#: By lead-acid.
ODD_FRAC, ODD_H = P.by_chemistry("odd_frac"), P.number("odd_h")
ODD_AFTER_S, ODD_FORGOTTEN_PER_DAY, SILENCE_S = P.number("odd_after_s"), P.number("odd_forgotten_per_day"), P.number("silence_s")
FLAT_V, LEAD_V = P.number("flat_v"), P.numbers("lead_v")
FULL_SIGMA_V, OFF_SPREADS, APART_V = P.number("full_sigma_v"), P.number("off_spreads"), P.number("apart_v")
THIN_KG_L = P.numbers("thin_kg_l")


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Evidence so far. backwards rises with steps in which voltage falls as current rises."""

    backwards: float = 0.0
    last_voltage_v: float | None = None
    last_current_a: float | None = None
    swap: SwapEvidence = SwapEvidence()
    odd_ah: float = 0.0            # range of charge in which the voltage was one that the named chemistry hardly knows
    odd_at_ah: float = 0.0         # charge counted above the lower end of that range
    odd: bool = False              # that range was too wide, and is not half as wide as that since

    @property
    def reversed(self) -> bool:
        """The shunt seems to be wired backwards."""
        return self.backwards >= REVERSED_AFTER

    @property
    def maybe_reversed(self) -> bool:
        """It may be: what looks like a bypass waits."""
        return self.backwards >= MAYBE_REVERSED


def update(state: Suspicion, minute: Minute, halves: Bins, battery: Battery, count: Count, resistance: Resistance, depth_frac: float,
           ) -> Suspicion:
    """The evidence with a minute: steps that speak for a reversed shunt, for another battery, and charge at a voltage of another type.

    state: what was kept after the minute before; minute: what was measured; halves: its means over half a minute;
    battery: its label; count: what came in and went out;
    resistance: what load steps have shown; depth_frac: drawn from full, of the capacity.
    """
    s, rated = state, battery.rated_capacity_ah
    backwards, last_v, last_a = s.backwards, s.last_voltage_v, s.last_current_a
    for _, voltage, current in halves:
        if last_v is not None and last_a is not None and not minute.gap_s:
            change, rise = current - last_a, voltage - last_v
            if abs(change) > STEP_PER_H * rated and abs(rise) > LEAST_RISE_V:
                ohm = rise / change
                if LEAST_OHM_AH < abs(ohm) * rated < MOST_OHM_AH:
                    backwards = min(max(backwards + (1.0 if ohm < 0 else -1.0), -MOST), MOST)
        last_v, last_a = voltage, current
    now_ohm = step_resistance.at(resistance, depth_frac)
    swap = swap_evidence.update(s.swap, minute, halves, battery, now_ohm / step_resistance.at(resistance, 0.0), now_ohm, count.surface_v)
    width, at = _odd(s, minute, battery, count)
    share = width / (ODD_FRAC[battery.lead_acid] * rated)
    return Suspicion(backwards, last_v, last_a, swap, width, at, share > 1.0 or s.odd and share > 0.5)


def dismiss(state: Suspicion) -> Suspicion:
    """The same after the owner said what battery it is."""
    return replace(state, swap=SwapEvidence(), odd_ah=0.0, odd_at_ah=0.0, odd=False)


def _odd(state: Suspicion, minute: Minute, battery: Battery, count: Count) -> tuple[float, float]:
    """Range of charge in which the voltage was odd for the named kind, and where in it the count stands [Ah].

    What passes at other voltages is counted too, so that a lithium battery that lives near empty does not add up to more
    than it holds there.
    """
    kept = 1.0 - ODD_FORGOTTEN_PER_DAY * minute.duration_s / 86400.0
    width, at = state.odd_ah * kept, state.odd_at_ah * kept + minute.charge_in_ah - minute.charge_out_ah
    if minute.gap_s > SILENCE_S:
        width = at = 0.0
    if not _odd_now(battery, count):
        return width, at
    if not width:
        return 1e-9, 0.0
    return max(width, at) - min(at, 0.0), max(at, 0.0)


def _odd_now(battery: Battery, count: Count) -> bool:
    voltage, current = count.voltage_v, count.current_a
    if voltage is None or current is None or abs(current) > battery.rated_capacity_ah / ODD_H:
        return False
    if battery.lead_acid:
        return current < 0 and count.since_charge_s > ODD_AFTER_S and voltage > FLAT_V
    return LEAD_V[0] < voltage < LEAD_V[1]


def chemistry_doubt(
    state: Suspicion, battery: Battery, full_v: float, full_sigma_v: float, full_seen: bool,
) -> str:
    """Why the configured type looks wrong, or "".

    full_v is the learnt rest voltage of the full battery at 25 °C.

    state: evidence so far; battery: what its label says; full_v: learnt rest voltage when full, at 25 °C [V]; full_sigma_v: its doubt,
    one sigma [V]; full_seen: whether a complete charge was seen.
    """
    if state.odd:
        if battery.lead_acid:
            return (f"behaves like lithium iron phosphate: it gave {state.odd_ah:.0f} Ah above {FLAT_V:.2f} V, hours after any "
                    f"charging; lead-acid rests below that")
        return (f"behaves like lead-acid: {state.odd_ah:.0f} Ah lie between {LEAD_V[0]} and {LEAD_V[1]} V, where lithium iron "
                f"phosphate holds hardly any")
    if not battery.lead_acid or not full_seen or full_sigma_v > FULL_SIGMA_V:
        return ""
    own = lead_acid.construction(battery)
    low_v, high_v = own.full_v - own.full_sigma_v, own.full_v + own.full_sigma_v
    if abs(full_v - own.full_v) < OFF_SPREADS * own.full_sigma_v:
        return ""
    for name, kind in lead_acid.KINDS.items():
        if abs(kind.full_v - own.full_v) > APART_V and abs(full_v - kind.full_v) < kind.full_sigma_v:
            return (f"behaves like {name}: full and rested it shows {full_v:.2f} V, where {battery.chemistry} shows "
                    f"{low_v:.2f} to {high_v:.2f} V")
    density = lead_acid.density_kg_l(full_v)
    if battery.chemistry == "flooded" and THIN_KG_L[0] < density < THIN_KG_L[1]:
        return (f"behaves as if its acid were thin, {density:.2f} kg/L when full: full and rested it shows {full_v:.2f} V, where "
                f"ordinary acid shows {low_v:.2f} to {high_v:.2f} V. If it was filled for the tropics, set acid_density_kg_l; "
                f"if not, have the acid of each cell measured")
    return ""
