"""What the house battery is put through that it does not bear: each limit of its kind, followed minute by minute."""
from math import exp

from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import coldest_c, held_voltage_v, limits_of
from monitor.detection import temperature_trend
from monitor.detection.house import deep_discharge, frost, heat, limit_texts
from monitor.detection.house.deep_discharge import Deep
from monitor.detection.house.frost import Acid
from monitor.detection.house.heat import Heat, Runaway
from monitor.detection.temperature_trend import TemperatureTrend
from monitor.findings import ChargeFindings, Condition, Estimate
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.sample import Minute

P = table("detection/house", "limit_alerts")
FORGOTTEN_S = P.number("forgotten_s")
FORGIVEN_FRAC = P.number("forgiven_frac")
AHEAD_S = P.number("ahead_s")


@dataclass(frozen=True, slots=True)
class LimitsState:
    """How far each limit is passed, and the figures of the latest minute."""

    over_h: float = 0.0
    over: bool = False                  # it has been too long, and is not forgotten yet
    over_limit_v: float = 0.0
    heat: Heat = Heat()
    runaway: Runaway = Runaway()
    deep: Deep = Deep()
    acid: Acid = Acid()
    trend: TemperatureTrend = TemperatureTrend()
    air_only: bool = False              # there is no thermometer on the battery
    voltage_v: float | None = None
    current_a: float | None = None
    temperature_c: float | None = None
    hour: float | None = None


def begin() -> LimitsState:
    """Nothing wrong."""
    return LimitsState()


def update(state: LimitsState, minute: Minute, vehicle: Vehicle, charge: ChargeFindings) -> LimitsState:
    """The state of every limit after a minute: voltage, heat, runaway, deep discharge, frost.

    A quantity that is not measured keeps the verdict it had.

    state: what was kept after the minute before; vehicle: what its owner said of it; charge: what is known of the charge; minute:
    what was measured.
    """
    house, volts, amps, at_s, span_s = vehicle.house, minute.house_voltage_v, minute.house_current_a, minute.end_s, minute.duration_s
    warm_c, air_c, air_only = minute.house_temperature_c, minute.ambient_temperature_c, state.air_only
    if warm_c is not None:
        air_only = False
    elif state.temperature_c is None or air_only:
        warm_c, air_only = air_c, air_only or air_c is not None
    over_h, limit_v = state.over_h and state.over_h * exp(-span_s / FORGOTTEN_S), state.over_limit_v
    if volts is not None:
        limit_v = held_voltage_v(house, coldest_c(
            house, None if air_only else warm_c, warm_c if air_only else None, state.temperature_c))
        over_h += span_s / 3600.0 if volts > limit_v else 0.0
    over = over_h >= _allowed_h(house) * (FORGIVEN_FRAC if state.over else 1.0)
    known = charge.charge_frac if isinstance(charge.charge_frac, Estimate) else None
    acid = frost.update(state.acid, span_s, volts, amps, known.low if known else None, house) if house.lead_acid else state.acid
    return LimitsState(
        over_h if over_h > 1e-6 else 0.0, over, limit_v,
        state.heat if air_only else heat.update(state.heat, at_s, span_s, warm_c, house),
        heat.update_runaway(state.runaway, at_s, volts, amps, None if air_only else warm_c, air_c, house),
        deep_discharge.update(state.deep, at_s, span_s, volts, house, charge), acid,
        temperature_trend.update(state.trend, at_s, warm_c), air_only, volts if volts is not None else state.voltage_v, amps,
        warm_c if warm_c is not None else state.temperature_c, minute.hour)


def _allowed_h(battery: Battery) -> float:
    """Hours above the highest charging voltage that are nobody's business; more while equalising is announced."""
    limits = limits_of(battery.chemistry)
    if battery.equalise_v is not None and limits.equalise_hours_h is not None:
        return max(limits.over_warning_h, limits.equalise_hours_h)
    return limits.over_warning_h


def conditions(state: LimitsState, vehicle: Vehicle, *, sun_in_s: float | None = None, since_full_s: float = 0.0,
               low_hours: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> tuple[Condition, ...]:
    """One condition for each limit, active or not.

    sun_in_s : seconds until the sun begins to charge the battery, None where that is not known
    since_full_s : since the last full charge [s]
    low_hours : below 50, 30 and 20 % of charge, since the battery is known [h]
    state: what was kept after the minute before; vehicle: what its owner said of it.
    """
    house = vehicle.house
    limits = limits_of(house.chemistry)
    low_c = temperature_trend.coming_low_c(state.trend) if temperature_trend.evening(state.hour) else None
    morning_c = None
    if not house.lead_acid and sun_in_s is not None and 0.0 < sun_in_s < AHEAD_S and temperature_trend.evening(state.hour):
        morning_c = temperature_trend.expected_c(state.trend, sun_in_s)
    freezing = frost.at_risk(state.acid, state.temperature_c, house)
    never_full = since_full_s > limits.never_full_days * 86400.0
    texts = limit_texts
    return (
        texts.overcharge(state.over_h, state.over_limit_v, state.voltage_v, house, state.temperature_c is None)
        if state.over else texts.IDLE["house_overcharged"],
        texts.too_hot(state.heat, state.temperature_c, house) if state.heat.level else texts.IDLE["house_too_hot"],
        texts.runaway(state.runaway, state.temperature_c) if state.runaway.found else texts.IDLE["house_runaway"],
        texts.deep(state.deep, house) if state.deep.since_s is not None else texts.IDLE["house_deep_discharge"],
        texts.frost(state.acid, state.temperature_c, low_c, now=freezing)
        if freezing or low_c is not None and frost.at_risk(state.acid, low_c, house) else texts.IDLE["house_freeze_risk"],
        texts.never_full(since_full_s, low_hours, house) if never_full else texts.IDLE["house_never_full"],
        texts.cold_charging(state.current_a, state.temperature_c, state.air_only, morning_c, sun_in_s, state.hour, house),
    )
