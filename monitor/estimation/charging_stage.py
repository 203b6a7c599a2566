"""What the house battery's charger is doing, told from voltage and current alone."""
from typing import Literal

from monitor.battery.label import Battery
from monitor.battery.limits import limits_of
from monitor.estimation.charge_count import Count

Stage = Literal["discharging", "charging", "absorption", "float", "resting", "unknown"]


def stage(count: Count, battery: Battery, full_seen: bool) -> Stage:
    """The stage now. full_seen: the present spell of high voltage has already looked like a full charge.

    count: the count so far; battery: what its label says.
    """
    voltage, current, rated = count.voltage_v, count.current_a, battery.rated_capacity_ah
    if voltage is None or current is None:
        return "unknown"
    usual = limits_of(battery.chemistry)
    absorption_v, float_v = battery.absorption_v or usual.usual_absorption_v, battery.float_v or usual.usual_float_v
    # A charger with a temperature sensor regulates up to 0.3 V lower in heat; cables take some too.
    if count.high_s > 600.0 and voltage > absorption_v - 0.3 and voltage > (absorption_v + float_v) / 2:
        return "absorption"
    if count.high_s > 600.0 and full_seen and abs(voltage - float_v) < 0.3:
        return "float"
    if current < -0.002 * rated:
        return "discharging"
    if current > 0.002 * rated:
        return "charging"
    return "resting"
