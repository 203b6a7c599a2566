"""What of the house battery deserves a warning at once: charge below the reserve, voltage too high or low, cold charging."""
from dataclasses import dataclass

from monitor.battery.label import Battery, Vehicle
from monitor.findings import ChargeFindings, Condition, Estimate, Event
from monitor.sample import Minute

#: Comes off again so many hundredths above the reserve.
BACK_FRAC = 0.05
#: An interval wider than this is a guess, and nobody is woken by a guess.
GUESS_WIDTH_FRAC = 0.5
#: Empty or nearly so under an ordinary load, 12 V (common practice: 1.83 V a lead cell, 2.8 V a lithium one).
UNDER_V = {True: 11.0, False: 11.2}
UNDER_BACK_V = 0.5
#: Above this a charger does not limit, 12 V: lead gasses hard at 2.5 V a cell and 25 °C, and every kelvin below
#: allows 4 mV a cell more (IEEE 1188 practice, from memory); lithium iron phosphate ends at 3.65 V a cell.
OVER_V, OVER_LFP_V, OVER_PER_K, OVER_BACK_V = 15.0, 14.8, 0.024, 0.2
#: Charging this fast [1/h of the label] below freezing plates lithium.
COLD_C, COLD_RATE = 0.0, 0.02
PATIENCE_S = 120.0


@dataclass(frozen=True, slots=True)
class HouseAlertsState:
    """What is wrong now, with the figures it is wrong by; hysteresis keeps each from flickering."""

    low: bool = False
    under: bool = False
    over: bool = False
    cold: bool = False
    charge_frac: float | None = None
    voltage_v: float | None = None
    current_a: float | None = None
    temperature_c: float | None = None
    news: tuple[Event, ...] = ()


def begin(vehicle: Vehicle) -> HouseAlertsState:
    """Nothing wrong."""
    return HouseAlertsState()


def update(held: HouseAlertsState, minute: Minute, vehicle: Vehicle, charge: ChargeFindings) -> HouseAlertsState:
    """One minute further; a quantity that is not measured keeps the verdict it had."""
    house, volts, amps, warm_c = vehicle.house, minute.house_voltage_v, minute.house_current_a, minute.house_temperature_c
    left, low = held.charge_frac, held.low
    if isinstance(charge.charge_frac, Estimate) and charge.charge_frac.high - charge.charge_frac.low <= GUESS_WIDTH_FRAC:
        left = charge.charge_frac.value
        low = left < house.reserve_soc_frac + (BACK_FRAC if held.low else 0.0)
    under, over = held.under, held.over
    if volts is not None:
        under = volts < _under_v(house) + (UNDER_BACK_V if held.under else 0.0)
        over = volts > _over_v(house, warm_c) - (OVER_BACK_V if held.over else 0.0)
    cold = (not house.lead_acid and warm_c is not None and amps is not None and warm_c < COLD_C
            and amps > COLD_RATE * house.rated_capacity_ah)
    return HouseAlertsState(low, under, over, cold, left, volts if volts is not None else held.voltage_v, amps, warm_c)


def _under_v(house: Battery) -> float:
    return house.cutout_voltage_v if house.cutout_voltage_v is not None else UNDER_V[house.lead_acid]


def _over_v(house: Battery, warm_c: float | None) -> float:
    label_v = (house.absorption_v or 0.0) + 0.5
    if not house.lead_acid:
        return max(OVER_LFP_V, label_v)
    return max(OVER_V, label_v) + OVER_PER_K * max(0.0, 25.0 - (25.0 if warm_c is None else warm_c))


def conditions(held: HouseAlertsState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """All four, active or not."""
    if not (held.low or held.under or held.over or held.cold):
        return QUIET
    house = vehicle.house
    reserve_pct = 100 * house.reserve_soc_frac
    left_pct = 100 * (held.charge_frac if held.charge_frac is not None else 1.0)
    volts = held.voltage_v if held.voltage_v is not None else 0.0
    return (
        Condition(
            "house_low", "house", held.low, "high" if left_pct < reserve_pct / 2 else "medium",
            f"About {left_pct:.0f} % is left in the house battery; {reserve_pct:.0f} % is meant to stay." if held.low else "",
            "What is drawn from here on is the reserve." + (" Lead-acid that is emptied deeply and often ages fast."
                                                            if house.lead_acid else ""),
            "Switch off what can wait, the largest first; drive or charge.",
            f"It clears above {100 * (house.reserve_soc_frac + BACK_FRAC):.0f} %.", on_delay_s=600.0,
            figures=(("charge_frac", left_pct / 100), ("reserve_frac", house.reserve_soc_frac))),
        Condition(
            "house_under_voltage", "house", held.under, "high",
            f"The house battery is at {volts:.2f} V." if held.under else "",
            "It is empty, or a load is too large for it. A fridge stops here; staying here ruins the battery.",
            "Switch the loads off and charge. If it happens under one load only, look at its cable and terminals.",
            f"It clears above {_under_v(house) + UNDER_BACK_V:.1f} V.", on_delay_s=PATIENCE_S, figures=(("voltage_v", volts),)),
        Condition(
            "house_over_voltage", "house", held.over, "high",
            f"The house battery is at {volts:.2f} V." if held.over else "",
            "A charger or the alternator does not limit." + (" The battery gives off explosive gas." if house.lead_acid else
                                                             " Its own protection may cut it off at any moment."),
            "Stop charging: cover the panel, switch the charger or the engine off. No sparks; ventilate. Then have it looked at.",
            "It clears when the voltage has come down.", on_delay_s=PATIENCE_S, figures=(("voltage_v", volts),)),
        Condition(
            "cold_charging", "house", held.cold, "high",
            f"The house battery is charged with {held.current_a or 0.0:.1f} A at {held.temperature_c or 0.0:.0f} °C." if held.cold else "",
            "Lithium iron phosphate charged below freezing takes lasting damage inside, unless its own heater or protection acts.",
            "Stop charging, or warm the battery; see what its label allows.",
            "It clears when charging stops or the battery is above freezing.", on_delay_s=300.0,
            figures=(("current_a", held.current_a or 0.0), ("temperature_c", held.temperature_c or 0.0))),
    )


#: Nothing is wrong, and so there is nothing to say.
QUIET = tuple(Condition(kind, "house", False) for kind in ("house_low", "house_under_voltage", "house_over_voltage", "cold_charging"))
