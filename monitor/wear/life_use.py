"""A life as its wear is counted from: hours with charge, throughput, temperature and voltage; and what the label says of the battery."""
from collections.abc import Sequence

from monitor.battery.label import Battery, Chemistry
from monitor.battery.limits import limits_of
from monitor.parameters import table
from monitor.replacing import dataclass

P = table("wear", "life_use")
#: Hours of a year (definition).
YEAR_H = 8766.0
BELOW_UPPER_V, FLOAT_BELOW_V = P.number("below_upper_v"), P.number("float_below_v")


@dataclass(frozen=True, slots=True)
class UseSlot:
    """An hour of a battery's life, or a day.

    hours : its length [h]
    charge_frac : charge at its end, of the present capacity, 0 to 1
    charge_ah, discharge_ah : what went in and what came out [Ah], both positive
    temperature_c : of the battery [°C]
    voltage_v : at its posts, mean [V]; None where it was not measured
    """

    hours: float
    charge_frac: float
    charge_ah: float
    discharge_ah: float
    temperature_c: float
    voltage_v: float | None = None


def length_h(slots: Sequence[UseSlot]) -> float:
    """How long a life is [h].

    Raises
    ------
    ValueError : it has no length
    """
    total_h = sum(slot.hours for slot in slots)
    if not total_h > 0:
        raise ValueError("a life needs at least one slot with a length above 0 h")
    return total_h


@dataclass(frozen=True, slots=True)
class LifeLabel:
    """What label and data sheet say of a battery, as far as its life depends on it.

    cycles : full cycles (Ah drawn over the rating) it should give before it holds 80 %, None where nobody says
    float_years : years it should last on float at 20 °C, None where nobody says
    absorption_v, float_v : what its charger holds [V]
    """

    chemistry: Chemistry
    rated_capacity_ah: float
    rated_hours: float
    absorption_v: float
    float_v: float
    cycles: float | None = None
    float_years: float | None = None


def label_of(battery: Battery, cycles: float | None = None, float_years: float | None = None) -> LifeLabel:
    """The label of a battery, with the usual charging voltages of its kind where the owner has not said them.

    battery : its label; cycles : full cycles to 80 %; float_years : years on float at 20 °C

    Raises
    ------
    ValueError : a figure that no battery has
    """
    for what, value, most in (("cycles", cycles, 20_000.0), ("float_years", float_years, 40.0)):
        if value is not None and not 0.5 <= value <= most:
            raise ValueError(f"{what} is {value:g}: it must lie between 0.5 and {most:g}")
    upper_v = limits_of(battery.chemistry).charge_upper_v
    absorption_v = battery.absorption_v if battery.absorption_v is not None else upper_v - BELOW_UPPER_V
    float_v = battery.float_v if battery.float_v is not None else absorption_v - FLOAT_BELOW_V
    return LifeLabel(battery.chemistry, battery.rated_capacity_ah, battery.rated_hours, absorption_v, float_v, cycles, float_years)
