"""Three things that spoil every figure: a shunt wired backwards, another battery, another chemistry."""
from dataclasses import dataclass, replace

from monitor.battery import lead_acid
from monitor.battery.label import Battery
from monitor.estimation import step_resistance, swap_evidence
from monitor.estimation.charge_count import Count
from monitor.estimation.step_resistance import Resistance
from monitor.estimation.swap_evidence import SwapEvidence
from monitor.sample import Minute

#: Steps that must speak against each other's half before the shunt is called reversed.
REVERSED_AFTER, MOST = 8.0, 20.0
#: Part of the rated capacity that must have gone by where a battery of the named kind holds hardly any.
ODD_FRAC = {True: 0.08, False: 0.35}


@dataclass(frozen=True, slots=True)
class Suspicion:
    """Evidence so far. backwards rises with steps in which voltage falls as current rises."""

    backwards: float = 0.0
    last_voltage_v: float | None = None
    last_current_a: float | None = None
    swap: SwapEvidence = SwapEvidence()
    odd_ah: float = 0.0            # charge that passed at a voltage the named chemistry hardly knows

    @property
    def reversed(self) -> bool:
        """The shunt seems to be wired backwards."""
        return self.backwards >= REVERSED_AFTER


def update(held: Suspicion, minute: Minute, battery: Battery, count: Count, resistance: Resistance, depth_frac: float) -> Suspicion:
    """One minute further.

    held: what was kept after the minute before; minute: what was measured; battery: its label; count: what came in and went out;
    resistance: what load steps have shown; depth_frac: drawn from full, of the capacity.
    """
    s, rated = held, battery.rated_capacity_ah
    backwards, last_v, last_a = s.backwards, s.last_voltage_v, s.last_current_a
    for _, voltage, current in step_resistance.bins(minute):
        if last_v is not None and last_a is not None and not minute.gap_s:
            change, rise = current - last_a, voltage - last_v
            if abs(change) > 0.015 * rated and abs(rise) > 0.006:
                ohm = rise / change
                if 0.1 < abs(ohm) * rated < 12.0:
                    backwards = min(max(backwards + (1.0 if ohm < 0 else -1.0), -MOST), MOST)
        last_v, last_a = voltage, current
    now_ohm = step_resistance.at(resistance, depth_frac)
    swap = swap_evidence.update(s.swap, minute, battery, now_ohm / step_resistance.at(resistance, 0.0), now_ohm, count.surface_v)
    return Suspicion(backwards, last_v, last_a, swap, _odd(s.odd_ah, battery, count))


def dismissed(held: Suspicion) -> Suspicion:
    """The same after the owner said what battery it is."""
    return replace(held, swap=SwapEvidence(), odd_ah=0.0)


def _odd(odd_ah: float, battery: Battery, count: Count) -> float:
    voltage, current, rated = count.voltage_v, count.current_a, battery.rated_capacity_ah
    if voltage is None or current is None or abs(current) > rated / 6:
        return odd_ah
    if battery.lead_acid:
        # Two hours after charging and still discharging above 13.05 V: no lead-acid battery rests there.
        if current < 0 and count.since_charge_s > 7200.0:
            return odd_ah - current / 60.0 if voltage > 13.05 else 0.0
        return odd_ah
    # Lithium iron phosphate holds an eighth of its charge between 11.9 and 12.75 V; lead-acid nearly all of it.
    return odd_ah + abs(current) / 60.0 if 11.9 < voltage < 12.75 else max(odd_ah - abs(current) / 60.0, 0.0)


def chemistry_doubt(
    held: Suspicion, battery: Battery, full_v: float, full_sigma_v: float, full_seen: bool,
) -> str:
    """Why the configured type looks wrong, or "".

    full_v is the learnt rest voltage of the full battery at 25 °C.
    """
    if held.odd_ah > ODD_FRAC[battery.lead_acid] * battery.rated_capacity_ah:
        if battery.lead_acid:
            return (f"behaves like lithium iron phosphate: it gave {held.odd_ah:.0f} Ah above 13.05 V, hours after any "
                    f"charging; lead-acid rests below that")
        return (f"behaves like lead-acid: {held.odd_ah:.0f} Ah passed between 11.9 and 12.75 V, where lithium iron "
                f"phosphate holds hardly any")
    if not battery.lead_acid or not full_seen or full_sigma_v > 0.03:
        return ""
    own = lead_acid.KINDS[battery.chemistry]
    if abs(full_v - own.full_v) < 1.8 * own.full_sigma_v:
        return ""
    for name, kind in lead_acid.KINDS.items():
        if abs(kind.full_v - own.full_v) > 0.1 and abs(full_v - kind.full_v) < kind.full_sigma_v:
            return (f"behaves like {name}: full and rested it shows {full_v:.2f} V, where {battery.chemistry} shows "
                    f"{own.full_v - own.full_sigma_v:.2f} to {own.full_v + own.full_sigma_v:.2f} V")
    return ""
