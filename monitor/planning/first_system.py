"""A first system in plain figures: battery by chemistry, panel, and what a drive brings."""
from dataclasses import dataclass

from monitor.planning import sizing

#: Usable part of a battery by chemistry: common practice.
DEPTH_FRAC = {"lead-acid": 0.5, "lithium iron phosphate": 0.8}
#: Round trip of charge into and out of the battery: handbook ranges 70 to 85 % and 92 to 96 % (energy).
ROUND_TRIP_FRAC = {"lead-acid": 0.80, "lithium iron phosphate": 0.94}
#: A flat panel behind heat, dirt, cables and controller gives so much of its rating (common practice).
PANEL_DERATE = 0.75
#: Mean clearness of an ordinary month, and of a poor one.
CLEARNESS = {"ordinary": 0.65, "poor": 0.4}
#: Day of the year in the middle of each month (definition).
MIDDLE_DAY = (15, 46, 74, 105, 135, 166, 196, 227, 258, 288, 319, 349)


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What to start from, for one chemistry."""

    chemistry: str
    capacity_ah: float
    panel_ordinary_w: float
    panel_poor_w: float


@dataclass(frozen=True, slots=True)
class Plan:
    """The loads, the sun and the suggestions."""

    daily_wh: float
    daily_ah: float
    sun_hours: float            # clear sky, level ground
    month: int
    suggestions: tuple[Suggestion, ...]


def plan(loads: list[sizing.Load], latitude_deg: float, month: int | None = None, sunless_days: float = 2.0,
         temperature_c: float = 10.0, voltage_v: float = 12.0) -> Plan:
    """A first system for these loads at this place; month None takes the poorest month of the year.

    Battery: IEEE 1013 form (days, depth, end of life, cold; from memory). Panel: a day's need through the
    battery's losses, over the clear-sky hours of that month times its clearness and the panel's derating.

    latitude_deg: latitude, north positive [°]; sunless_days: days without sun to be carried; temperature_c: where the battery stands [°C];
    voltage_v: of the system [V]; loads: what is to be run, and how long a day; month: 1 to 12, None: the poorest.

    Raises
    ------
    ValueError : no load, or a figure out of range
    """
    if not loads:
        raise ValueError("there is no load to plan for; name at least one")
    for load in loads:
        if not load.power_w > 0 or not 0 < load.hours_per_day <= 24:
            raise ValueError(f"{load.name}: {load.power_w:g} W for {load.hours_per_day:g} h a day cannot be; "
                             "watts above 0, hours up to 24")
    totals = [sizing.clear_sky_wh_m2(latitude_deg, day) for day in MIDDLE_DAY]
    chosen = min(range(12), key=lambda m: totals[m]) if month is None else month - 1
    hours = totals[chosen] / 1000
    if hours < 0.05:
        raise ValueError(f"there is no sun to plan with at {latitude_deg:g} degrees in that month")
    daily_wh = sizing.daily_energy_wh(loads)
    daily_ah = daily_wh / voltage_v
    found = []
    for chemistry, depth in DEPTH_FRAC.items():
        need_wh = sizing.array_output_wh(daily_wh, ROUND_TRIP_FRAC[chemistry])
        lead = chemistry == "lead-acid"
        capacity = sizing.battery_with_margins(daily_ah, sunless_days, depth, temperature_c if lead else 25.0, 0.0)
        panels = [need_wh / (hours * clear * PANEL_DERATE) for clear in CLEARNESS.values()]
        found.append(Suggestion(chemistry, capacity, *panels))
    return Plan(daily_wh, daily_ah, hours, chosen + 1, tuple(found))
