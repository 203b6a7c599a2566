"""Journeys to choose by name. All are invented.

The first is the demo: a small camper on a northern coast of Spain from late August on, with an
absorbed-acid house battery that has seen some years, one panel, a relay as isolator, and a fridge.
"""
from collections.abc import Callable
from dataclasses import replace
from random import Random

from drivers.vehicle.plan import BatteryPlan, Drive, Ordered, Plan, SensorPlan
from drivers.vehicle.protection import ProtectionPlan

DAY_S = 86400.0
DEMO = "late-summer-coast"


def late_summer_coast(seed: int = 11) -> Plan:
    """Drives every few days, a cloudy spell with close evenings, a weekend with guests. Goes on for 200 days."""
    chance = Random(f"late-summer-coast/{seed}")
    drives = [Drive(0.0 * DAY_S + 16.2 * 3600, 17.9 * 3600 + 0.0 * DAY_S, 0.9)]
    for day in (3, 6, 8, 12, 14, 18):
        begin = day * DAY_S + chance.uniform(9.0, 12.5) * 3600.0
        drives.append(Drive(begin, begin + chance.uniform(35.0, 140.0) * 60.0, chance.uniform(0.7, 1.2)))
    day = 22
    while day < 200:
        begin = day * DAY_S + chance.uniform(9.0, 16.0) * 3600.0
        drives.append(Drive(begin, begin + chance.uniform(25.0, 150.0) * 60.0, chance.uniform(0.7, 1.2)))
        day += chance.randrange(2, 5)
    return Plan(
        seed=seed, name="late-summer-coast", days=200.0, latitude_deg=43.4, day_of_year=236,
        house=BatteryPlan(chemistry="agm", label_ah=110.0, true_capacity_frac=0.93, soc_frac=0.77, full_offset_v=0.02,
                          span_factor=1.05, resistance_factor=1.15, gassing_factor=1.2),
        starter=BatteryPlan(chemistry="flooded", label_ah=74.0, true_capacity_frac=0.94, soc_frac=0.93,
                            resistance_factor=0.65, self_discharge_per_month=0.035),
        sensor=SensorPlan(with_ambient=True, fast_starter=True, gaps_per_day=0.08, current_offset_a=0.025),
        drives=tuple(drives), mean_temperature_c=19.5, swing_c=9.0, clear_share=0.55,
        cloud_days=((9, 10, 0.36), (11, 11, 0.5), (31, 33, 0.3), (47, 49, 0.3)), guest_days=((15, 16), (43, 44)),
        heat_days=((4, 6, 6.0),),
        panel_w=190.0, fridge_a=3.4, fridge_size=0.95, lights_a=1.3, laptop_wh_per_day=110.0, water_l_per_day=18.0,
        bedtime_hour=23.0, path_ohm=0.017, standby_a=0.09, cutout_v=11.0)


def lithium_valley(seed: int = 12) -> Plan:
    """The same life with 100 Ah of lithium behind a DC-DC charger."""
    coast = late_summer_coast(seed)
    return replace(
        coast, name="lithium-valley", charging="dc_dc", dc_dc_a=25.0, absorption_v=14.2, float_v=13.5, absorption_h=0.7,
        latitude_deg=46.4, mean_temperature_c=16.5, swing_c=13.0,
        house=BatteryPlan(chemistry="lfp", label_ah=100.0, true_capacity_frac=0.97, soc_frac=0.66, own_use_a=0.012,
                          full_offset_v=-0.02, hysteresis_v=0.055))


def lithium_winter(seed: int = 13) -> Plan:
    """The lithium camper in December: below freezing every morning, and electronics that refuse charge in the cold."""
    valley = lithium_valley(seed)
    house = replace(valley.house, soc_frac=0.55, protection=ProtectionPlan(cell_spread_v=0.02))
    return replace(valley, name="lithium-winter", day_of_year=345, mean_temperature_c=0.0, swing_c=9.0, panel_w=320.0,
                   clear_share=0.8, cloud_days=(), heat_days=((1, 30, -3.0),), house=house)


def _with(fault: Ordered, name: str) -> Callable[[int], Plan]:
    def plan(seed: int = 11) -> Plan:
        return replace(late_summer_coast(seed), name=name, faults=(fault,))

    return plan


#: name -> what is to be seen on it, for somebody who chooses
TOLD: dict[str, str] = {
    DEMO: "a small camper with an AGM battery, one panel and a fridge; a cloudy spell with close evenings",
    "lithium-valley": "the same life with 100 Ah of lithium behind a DC-DC charger",
    "lithium-winter": "lithium in December: freezing mornings, and electronics that refuse charge in the cold",
    "starter-drain": "something drains the starter battery while the vehicle is parked, from the tenth day on",
    "isolator-stuck-closed": "the relay between the batteries sticks closed, from the ninth day on",
    "isolator-stuck-open": "the relay no longer closes, from the eighth day on",
    "bad-contact": "a joint between the batteries grows hot and high in resistance",
    "tired-starter": "the starter battery cranks worse and worse, from the eighth day on",
    "faded-house": "a house battery that has lost a quarter of its capacity",
    "sensor-lost": "the current sensor falls silent for half a day",
    "shunt-reversed": "a shunt that counts the wrong way round",
}
#: When the demo opens, as seconds of its journey: an evening of the cloudy spell, when the charge will not last.
EVENING_S = 10 * DAY_S + 18.5 * 3600.0

#: name -> plan for a seed
SCENARIOS: dict[str, Callable[[int], Plan]] = {
    DEMO: late_summer_coast,
    "lithium-valley": lithium_valley,
    "lithium-winter": lithium_winter,
    "starter-drain": _with(Ordered("starter_drain", 9.6 * DAY_S, amount=0.18), "starter-drain"),
    "isolator-stuck-closed": _with(Ordered("isolator_stuck_closed", 8.3 * DAY_S), "isolator-stuck-closed"),
    "isolator-stuck-open": _with(Ordered("isolator_stuck_open", 7.0 * DAY_S), "isolator-stuck-open"),
    "bad-contact": _with(Ordered("path_resistance", 5.0 * DAY_S, 60.0 * DAY_S, 0.05), "bad-contact"),
    "tired-starter": _with(Ordered("starter_weak", 7.0 * DAY_S, amount=2.4), "tired-starter"),
    "faded-house": _with(Ordered("house_faded", 0.0, amount=0.72), "faded-house"),
    "sensor-lost": _with(Ordered("current_lost", 10.4 * DAY_S, 10.9 * DAY_S), "sensor-lost"),
    "shunt-reversed": _with(Ordered("shunt_reversed", 0.0), "shunt-reversed"),
}
