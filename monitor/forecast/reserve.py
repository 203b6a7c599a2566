"""How far the house battery is above what must stay in it, in ampere-hours and with its doubt."""
from monitor.battery import lead_acid, lithium_iron
from monitor.battery.label import Battery
from monitor.findings import ChargeFindings, Estimate
from monitor.parameters import table
from monitor.posterior import Posterior
from monitor.replacing import dataclass

P = table("forecast", "reserve")
#: By lead-acid.
USUAL_OHM_AH = P.by_chemistry("usual_ohm_ah")
MOST_FRAC, BISECTIONS = P.number("most_frac"), P.count("bisections")


@dataclass(frozen=True, slots=True)
class Margin:
    """Charge above the mark as part of the capacity, the capacity, and what is believed of both.

    The mark is the reserve, or the fridge's cut-out where that comes first.
    """

    above_frac: float
    capacity_ah: float
    reserve_frac: float                 # the mark that is counted from: the higher of the two
    posterior: Posterior
    cutout_frac: float = 0.0            # where the fridge stops; 0 where its cut-out is not configured

    @property
    def usable_ah(self) -> float:
        return self.above_frac * self.capacity_ah


def margin(battery: Battery, charge: ChargeFindings, load_a: float) -> Margin | None:
    """The margin above the reserve, or above the fridge's own cut-out where that comes first; None while the charge is not known.

    Parameters
    ----------
    battery : its label
    charge : what is known of its charge
    load_a : the current with the compressor running [A]: what the cut-out sees
    """
    fraction, capacity = charge.charge_frac, charge.capacity_ah
    if not isinstance(fraction, Estimate) or not isinstance(capacity, Estimate) or charge.posterior is None:
        return None
    cutout = _cutout_frac(battery, charge, load_a, capacity.value)
    reserve = max(battery.reserve_soc_frac, cutout)
    return Margin(fraction.value - reserve, capacity.value, reserve, charge.posterior, cutout)


def _cutout_frac(battery: Battery, charge: ChargeFindings, load_a: float, capacity_ah: float) -> float:
    """Charge at which the loaded voltage falls to the fridge's cut-out; 0 where that is not configured.

    Rest voltage less the drop in the resistance that was measured, and as much again for the slow
    part of the relaxation, which a compressor running for minutes does see.
    """
    if battery.cutout_voltage_v is None:
        return 0.0
    found = charge.resistance_ohm
    ohm = found.value if isinstance(found, Estimate) else USUAL_OHM_AH[battery.lead_acid] / capacity_ah
    rest_v = battery.cutout_voltage_v + 2.0 * ohm * load_a
    low, high = 0.0, 1.0
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        if _rest_v(battery, middle) > rest_v:
            high = middle
        else:
            low = middle
    return min(high, MOST_FRAC)


def _rest_v(battery: Battery, charge_frac: float) -> float:
    if battery.lead_acid:
        kind = lead_acid.KINDS[battery.chemistry]
        return kind.full_v - kind.span_v * lead_acid.fall_frac(1 - charge_frac)
    return lithium_iron.rest_voltage_v(charge_frac, -1.0)
