"""What of the house battery deserves a warning at once: charge below the reserve, voltage too high or low."""
from typing import ClassVar

from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import alternator_over_voltage_v, coldest_c, limits_of, over_voltage_v, say_unseen
from monitor.findings import ChargeFindings, Condition, Estimate, Event, JoinFindings
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("detection/house", "house_alerts")
BACK_FRAC = P.number("back_frac")
GUESS_WIDTH_FRAC = P.number("guess_width_frac")
UNDER_BACK_V, OVER_BACK_V = P.number("under_back_v"), P.number("over_back_v")
PATIENCE_S, LOW_DELAY_S = P.number("patience_s"), P.number("low_delay_s")
ALTERNATOR_AFTER_S = P.number("alternator_after_s")


@dataclass(frozen=True, slots=True)
class HouseAlertsState:
    """What is wrong now, with the figures it is wrong by; hysteresis keeps each from flickering."""

    low: bool = False
    under: bool = False
    over: bool = False
    charge_frac: float | None = None
    voltage_v: float | None = None
    news: tuple[Event, ...] = ()
    blind: bool = False                 # no thermometer on the battery or near it
    alternator_until_s: float = 0.0     # the alternator charged it until a while ago: its limit holds until then

    warm_c: float | None = None         # how cold it may be, the latest that was known [°C]

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"blind", "alternator_until_s", "warm_c"})


def begin() -> HouseAlertsState:
    """Nothing wrong."""
    return HouseAlertsState()


def update(state: HouseAlertsState, minute: Minute, vehicle: Vehicle, charge: ChargeFindings, join: JoinFindings) -> HouseAlertsState:
    """Whether charge or voltage is too low or too high after a minute; a quantity that is not measured keeps the verdict it had.

    state: what was kept after the minute before; vehicle: what its owner said of it; charge: what is known of the charge; minute:
    what was measured; join: what is known of engine and isolator.
    """
    house, volts = vehicle.house, minute.house_voltage_v
    warm_c = coldest_c(house, minute.house_temperature_c, minute.ambient_temperature_c, state.warm_c)
    left, low = state.charge_frac, state.low
    if isinstance(charge.charge_frac, Estimate) and charge.charge_frac.high - charge.charge_frac.low <= GUESS_WIDTH_FRAC:
        left = charge.charge_frac.value
        low = left < house.reserve_soc_frac + (BACK_FRAC if state.low else 0.0)
    under, over = state.under, state.over
    until_s = minute.end_s + ALTERNATOR_AFTER_S if _charged_by_alternator(minute, join) else state.alternator_until_s
    if volts is not None:
        under = volts < _under_v(house) + (UNDER_BACK_V if state.under else 0.0)
        by_alternator = minute.end_s <= until_s
        most_v = (alternator_over_voltage_v if by_alternator else over_voltage_v)(house, warm_c)
        over = volts > most_v - (OVER_BACK_V if state.over else 0.0)
    return HouseAlertsState(low, under, over, left, volts if volts is not None else state.voltage_v, blind=warm_c is None,
                            alternator_until_s=until_s, warm_c=warm_c)


def _charged_by_alternator(minute: Minute, join: JoinFindings) -> bool:
    """Whether the alternator holds the house battery's voltage: the engine runs, and the starter battery's is not below it."""
    house_v, starter_v = minute.house_voltage_v, minute.starter_voltage_v
    return (join.engine == "running" and join.isolator != "open" and house_v is not None and starter_v is not None
            and starter_v >= house_v)


def without_voltage(state: HouseAlertsState) -> HouseAlertsState:
    """The state while the voltage is not the battery's own: nothing is too high or too low."""
    return replace(state, under=False, over=False) if state.under or state.over else state


def _under_v(house: Battery) -> float:
    return house.cutout_voltage_v if house.cutout_voltage_v is not None else limits_of(house.chemistry).under_voltage_v


def conditions(state: HouseAlertsState, vehicle: Vehicle) -> tuple[Condition, ...]:
    """All three, active or not."""
    if not (state.low or state.under or state.over):
        return QUIET
    house = vehicle.house
    reserve_pct = 100 * house.reserve_soc_frac
    left_pct = 100 * (state.charge_frac if state.charge_frac is not None else 1.0)
    volts = state.voltage_v if state.voltage_v is not None else 0.0
    return (
        Condition(
            "house_low", "house", state.low, "high" if left_pct < reserve_pct / 2 else "medium",
            f"House battery at {left_pct:.0f} %, below your reserve of {reserve_pct:.0f} %." if state.low else "",
            "What is drawn from here on is the reserve." + (" Lead-acid that is emptied deeply and often ages fast."
                                                            if house.lead_acid else ""),
            "Switch off what can wait, the largest first; drive or charge.",
            f"It clears above {100 * (house.reserve_soc_frac + BACK_FRAC):.0f} %.", on_delay_s=LOW_DELAY_S,
            figures=(("charge_frac", left_pct / 100), ("reserve_frac", house.reserve_soc_frac))),
        Condition(
            "house_under_voltage", "house", state.under, "high",
            f"House battery at {volts:.2f} V: empty or overloaded." if state.under else "",
            "It is empty, or a load is too large for it. A fridge stops here; staying here ruins the battery.",
            "Switch the loads off and charge. If it happens under one load only, look at its cable and terminals.",
            f"It clears above {_under_v(house) + UNDER_BACK_V:.1f} V.", on_delay_s=PATIENCE_S, figures=(("voltage_v", volts),)),
        Condition(
            "house_over_voltage", "house", state.over, "high",
            f"House battery at {volts:.2f} V: far too high." if state.over else "",
            "A charger or the alternator does not limit." + (" The battery gives off explosive gas." if house.lead_acid else
                                                             " Its own protection may cut it off at any moment."),
            "Stop charging: cover the panel, switch the charger or the engine off. No sparks; ventilate. Then have it looked at.",
            "It clears when the voltage has come down.", on_delay_s=PATIENCE_S, figures=(("voltage_v", volts),),
            evidence=say_unseen("charger") if state.blind and house.lead_acid else ""),
    )


#: Nothing is wrong, and so there is nothing to say.
QUIET = tuple(Condition(kind, "house", False) for kind in ("house_low", "house_under_voltage", "house_over_voltage"))
