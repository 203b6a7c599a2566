"""Whether the house battery's acid may freeze: now, or tonight as the evening before has it."""
from monitor.battery import frost
from monitor.battery.label import Battery
from monitor.battery.limits import limits_of
from monitor.parameters import table
from monitor.replacing import dataclass

P = table("detection/house", "frost")
REST_S, REST_PER_H = P.number("rest_s"), P.number("rest_per_h")
NEAR_EMPTY_FRAC = P.number("near_empty_frac")


@dataclass(frozen=True, slots=True)
class Acid:
    """How thin the acid may be: its density [kg/l], None while nothing is known."""

    rest_s: float = 0.0
    density_kg_l: float | None = None


def update(acid: Acid, span_s: float, volts: float | None, amps: float | None, low_frac: float | None, battery: Battery) -> Acid:
    """How thin the acid may be now: by the charge that is left, and by the voltage once it has rested.

    volts, amps : of the house battery [V, A]
    low_frac : lower end of the interval of its charge, None while not known
    battery : its label
    acid: what was seen at rest; span_s: how long it lasted [s].
    """
    if volts is None or amps is None:
        return acid
    rest_s = acid.rest_s + span_s if abs(amps) < REST_PER_H * battery.rated_capacity_ah else 0.0
    density = None
    if low_frac is not None:
        density = frost.density_of_kg_l(battery, low_frac)
    if rest_s >= REST_S or low_frac is not None and low_frac < NEAR_EMPTY_FRAC:
        by_volts = frost.density_from_rest_voltage_kg_l(volts)
        density = by_volts if density is None else min(density, by_volts)
    return Acid(rest_s, density if density is None else round(density, 4))


def at_risk(acid: Acid, temperature_c: float | None, battery: Battery) -> bool:
    """Whether it may freeze at this temperature [°C], with a margin for where the thermometer sits.

    acid: what was seen at rest; temperature_c: of the battery [°C]; battery: its label.
    """
    margin_k = limits_of(battery.chemistry).frost_margin_k
    if acid.density_kg_l is None or temperature_c is None or margin_k is None or temperature_c > 0.0:
        return False
    return temperature_c <= frost.freezing_point_c(acid.density_kg_l) + margin_k
