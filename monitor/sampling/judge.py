"""Which readings are believed at all: refuses the impossible by name, and values that have stopped living."""
from dataclasses import dataclass
from math import isfinite

from monitor.replacing import replace

#: quantity -> (least, most, what a value outside may mean). Wider than anything a 12 V vehicle can show in health.
LIMITS = {
    "house_voltage_v": (3.0, 20.0, "a measuring lead or its fuse is off, a wrong divider ratio, "
                                   "or the battery's own protection has opened"),
    "starter_voltage_v": (3.0, 20.0, "a measuring lead or its fuse is off, or a wrong divider ratio"),
    "house_current_a": (-1500.0, 1500.0, "a wrong shunt scale, or a shunt lead is off"),
    "house_temperature_c": (-45.0, 95.0, "the sensor or its cable is broken"),
    "starter_temperature_c": (-45.0, 125.0, "the sensor or its cable is broken"),
    "ambient_temperature_c": (-50.0, 85.0, "the sensor or its cable is broken"),
    "solar_current_a": (-20.0, 500.0, "a wrong scale, or a shunt lead is off"),
    "solar_2_current_a": (-20.0, 500.0, "a wrong scale, or a shunt lead is off"),
    "ignition_on": (0.0, 1.0, "it must be 0 or 1"),
}

#: quantity -> (companion, how far the companion must have moved, for how long not one digit changed [s]).
#: A real battery's voltage moves when its current does; an instrument that has hung does not.
FROZEN = {
    "house_voltage_v": ("house_current_a", 4.0, 900.0),
    "house_current_a": ("house_voltage_v", 0.4, 900.0),
}

#: How far two instruments for one quantity may differ before one of them must be wrong: (plain, of the value).
AGREEMENT = {
    "house_voltage_v": (0.10, 0.01), "starter_voltage_v": (0.10, 0.01), "house_current_a": (0.5, 0.03),
    "solar_current_a": (0.5, 0.03), "solar_2_current_a": (0.5, 0.03), "house_temperature_c": (4.0, 0.0),
    "starter_temperature_c": (4.0, 0.0), "ambient_temperature_c": (6.0, 0.0), "ignition_on": (0.5, 0.0),
}


def add_solar(values: dict[str, float], known: set[str]) -> dict[str, float]:
    """The values with the currents of two solar chargers added up as solar_current_a.

    values : what is believed on this beat, quantity -> value
    known : every quantity that an instrument gives at all
    Where only one of two chargers was read the sum is not measured, so none is given.
    """
    both = {"solar_current_a", "solar_2_current_a"}
    if "solar_2_current_a" not in known:
        return values
    rest = {quantity: value for quantity, value in values.items() if quantity not in both}
    wanted = sorted(both & known)
    parts = [values[quantity] for quantity in wanted if quantity in values]
    return rest if len(parts) < len(wanted) else rest | {"solar_current_a": sum(parts)}


def refuse_reading(quantity: str, value: float) -> str:
    """Why a value cannot be, or "" where it can."""
    if quantity not in LIMITS:
        return f"no quantity of that name: {quantity}"
    if not isinstance(value, (int, float)) or not isfinite(value):
        return f"it shows {value}, which is not a number"
    least, most, may_mean = LIMITS[quantity]
    if not least <= value <= most:
        return f"it shows {value:g}, outside {least:g} to {most:g}: {may_mean}"
    return ""


@dataclass(frozen=True, slots=True)
class Still:
    """Since when a value has not changed, and how far its companion has moved meanwhile."""

    value: float
    since_s: float
    companion_low: float
    companion_high: float


def watch_channel(state: Still | None, value: float, companion: float | None, at_s: float) -> Still:
    """What is held after one more reading of a quantity in FROZEN.

    state: what was kept after the minute before; value: the reading; companion: the other channel of the same battery;
    at_s: the log's time [s].
    """
    if state is None or value != state.value:
        start = companion if companion is not None else float("nan")
        return Still(value, at_s, start, start)
    if companion is None:
        return state
    low = companion if state.companion_low != state.companion_low else min(state.companion_low, companion)
    high = companion if state.companion_high != state.companion_high else max(state.companion_high, companion)
    return replace(state, companion_low=low, companion_high=high)


def find_frozen(state: Still, quantity: str, at_s: float) -> str:
    """Why a value no longer counts as a measurement, or "".

    state: what was kept after the minute before; quantity: name of the quantity; at_s: the log's time [s].
    """
    companion, moved, long_s = FROZEN[quantity]
    if at_s - state.since_s >= long_s and state.companion_high - state.companion_low >= moved:
        return (f"it has shown exactly {state.value:g} for {(at_s - state.since_s) / 60:.0f} minutes while "
                f"{companion} moved by {state.companion_high - state.companion_low:.1f}: the instrument has hung")
    return ""


def find_disagreement(quantity: str, a: float, b: float) -> bool:
    """Whether two instruments for one quantity cannot both be right.

    a: one reading; b: the other; quantity: what both measure.
    """
    plain, part = AGREEMENT[quantity]
    return abs(a - b) > plain + part * max(abs(a), abs(b))
