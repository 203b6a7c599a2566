"""How far the house battery is above what must stay in it, in ampere-hours and with its doubt."""
from dataclasses import dataclass

from monitor.battery import lead_acid, lithium_iron
from monitor.battery.label import Battery
from monitor.findings import ChargeFindings, Estimate

Z95 = 1.96


@dataclass(frozen=True, slots=True)
class Margin:
    """Charge above the reserve as part of the capacity, and the capacity, with one sigma each and their correlation."""

    above_frac: float
    above_sigma_frac: float
    capacity_ah: float
    capacity_sigma_ah: float
    correlation: float
    reserve_frac: float

    @property
    def usable_ah(self) -> float:
        return self.above_frac * self.capacity_ah


def margin(battery: Battery, charge: ChargeFindings, load_a: float) -> Margin | None:
    """The margin above the reserve, or above the fridge's own cut-out where that comes first.

    load_a is the current with the compressor running [A]: what the cut-out sees. None while the
    charge is not known.
    battery: its label; charge: what is known of it; load_a: with the compressor running [A].
    """
    fraction, capacity = charge.charge_frac, charge.capacity_ah
    if not isinstance(fraction, Estimate):
        return None
    rated = battery.rated_capacity_ah
    q_ah = capacity.value if isinstance(capacity, Estimate) else 0.9 * rated
    q_sigma = _sigma(capacity) if isinstance(capacity, Estimate) else 0.15 * rated
    reserve = max(battery.reserve_soc_frac, _cutout_frac(battery, charge, load_a, q_ah))
    above = fraction.value - reserve
    z_sigma = max(_sigma(fraction), 0.01 / Z95)
    tie = 0.0
    found = charge.usable_left_ah
    if isinstance(found, Estimate) and reserve == battery.reserve_soc_frac and above > 0.02 and q_sigma > 0:
        variance = _sigma(found) ** 2
        apart = (z_sigma * q_ah) ** 2 + (above * q_sigma) ** 2
        tie = min(max((variance - apart) / (2 * z_sigma * q_ah * above * q_sigma), -0.9), 0.9)
    return Margin(above, z_sigma, q_ah, q_sigma, tie, reserve)


def _sigma(found: Estimate) -> float:
    """One sigma of the wider side: either bound may be cut off at empty or full, and the lower holds what may be missing."""
    return max(found.high - found.value, found.value - found.low) / Z95


def _cutout_frac(battery: Battery, charge: ChargeFindings, load_a: float, capacity_ah: float) -> float:
    """Charge at which the loaded voltage falls to the fridge's cut-out; 0 where that is not configured.

    Rest voltage less the drop in the resistance that was measured, and as much again for the slow
    part of the relaxation, which a compressor running for minutes does see.
    """
    if battery.cutout_voltage_v is None:
        return 0.0
    found = charge.resistance_ohm
    ohm = found.value if isinstance(found, Estimate) else (0.6 if battery.lead_acid else 1.0) / capacity_ah
    rest_v = battery.cutout_voltage_v + 2.0 * ohm * load_a
    low, high = 0.0, 1.0
    for _ in range(20):
        middle = (low + high) / 2
        if _rest_v(battery, middle) > rest_v:
            high = middle
        else:
            low = middle
    return min(high, 0.95)


def _rest_v(battery: Battery, charge_frac: float) -> float:
    if battery.lead_acid:
        kind = lead_acid.KINDS[battery.chemistry]
        return kind.full_v - kind.span_v * lead_acid.fall_frac(1 - charge_frac)
    return lithium_iron.rest_voltage_v(charge_frac, -1.0)
