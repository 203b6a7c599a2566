"""What the house battery's charger is doing, told from voltage and current alone."""
from typing import Literal

from monitor.battery.label import Battery
from monitor.battery.limits import limits_of
from monitor.estimation.charge_count import Count
from monitor.estimation.step_resistance import CHARGING_PER_H
from monitor.parameters import table

P = table("estimation", "charging_stage")
HIGH_S, NEAR_V = P.number("high_s"), P.number("near_v")
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
    if count.high_s > HIGH_S and voltage > absorption_v - NEAR_V and voltage > (absorption_v + float_v) / 2:
        return "absorption"
    if count.high_s > HIGH_S and full_seen and abs(voltage - float_v) < NEAR_V:
        return "float"
    if current < -CHARGING_PER_H * rated:
        return "discharging"
    if current > CHARGING_PER_H * rated:
        return "charging"
    return "resting"
