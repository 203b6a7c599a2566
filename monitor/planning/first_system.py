"""A first system in plain figures: battery by kind, panel, and the sun of the place; what `ampledger size` says."""
from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from monitor.battery.label import Chemistry
from monitor.battery.limits import limits_of
from monitor.findings import Estimate
from monitor.parameters import table
from monitor.planning import sizing
from monitor.planning.climate import between, days, sky
from monitor.planning.climate.between import Climate
from monitor.planning.climate.places import MONTHS
from monitor.planning.life_engine import warmth_frac
from monitor.planning.load_catalogue import Load, follows_warmth, steady_power_w, warmth_power_w
from monitor.planning.plan import PER, Drawn, estimate, prepare, weigh
from monitor.planning.trip import CABIN_K, HEATED_C, Stop, Trip
from monitor.planning.trip_life import Candidate

NAMES: dict[Chemistry, str] = {"agm": "lead-acid", "lfp": "lithium iron phosphate"}
P = table("planning", "first_system")
ROUND_TRIP_FRAC: dict[Chemistry, float] = {"agm": P.number("round_trip_lead"), "lfp": P.number("round_trip_lithium")}
PANEL_DERATE, LEAST_KWH_M2 = P.number("panel_derate"), P.number("least_kwh_m2")
POOR_SIGMAS = P.number("poor_sigmas")


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What to start from, for one kind of battery; nights_short: per 30 of that month with either panel, lived by the planner."""

    kind: Chemistry
    capacity_ah: float
    panel_ordinary_w: float
    panel_poor_w: float
    nights_short: tuple[Estimate, Estimate]


@dataclass(frozen=True, slots=True)
class Plan:
    """The loads, the sun and the suggestions: sun_hours of full sun on the level in an ordinary year, poor_hours once in ten."""

    daily_wh: float
    daily_ah: float
    sun_hours: float
    poor_hours: float
    month: int
    basis: str
    suggestions: tuple[Suggestion, ...]


def plan(loads: Sequence[Load], climate: Climate, month: int | None = None, sunless_days: float = 2.0,
         temperature_c: float = 10.0, voltage_v: float = 12.0) -> Plan:
    """A first system for these loads at this place; month None takes the poorest month of the year.

    Battery: IEEE 1013 form (days, depth, end of life, cold; from memory), lithium by its own small loss in the cold. Panel: a
    day's need through the battery's losses, over the month's sun and the panel's derating. Both are then lived for that month.

    climate: of the place; sunless_days: days without sun to be carried; temperature_c: where the battery stands [°C]; voltage_v: of the
    system [V]; loads: what is to be run; month: 1 to 12, None: the poorest.

    Raises
    ------
    ValueError : no load, or no sun
    """
    if not loads:
        raise ValueError("there is no load to plan for; name at least one")
    sun = climate.sun_kwh_m2_day
    chosen = min(range(12), key=lambda m: sun[m]) if month is None else month - 1
    clear = climate.clearness[chosen]
    doubt = sqrt(climate.clearness_sigma[chosen] ** 2 + (days.YEAR_SIGMA_FRAC * clear) ** 2)
    poor = sun[chosen] * max(1 - POOR_SIGMAS * doubt / clear, 0.3)
    if sun[chosen] < LEAST_KWH_M2:
        raise ValueError(f"there is no sun to plan with at {climate.name} in {MONTHS[chosen]}: name another month")
    daily_wh = daily_need_wh(loads, climate, chosen)
    daily_ah = daily_wh / voltage_v
    found, drawn = [], prepare(Trip((Stop(climate, chosen, sky.MONTH_DAYS[chosen]),), 0.0, 0), loads)
    for kind in NAMES:
        depth = 1 - limits_of(kind).reserve_frac
        need_wh = sizing.array_output_wh(daily_wh, ROUND_TRIP_FRAC[kind])
        lead = kind != "lfp"
        capacity = sizing.battery_with_margins(daily_ah, sunless_days, depth, temperature_c if lead else sizing.REFERENCE_C, 0.0)
        if not lead:
            capacity /= warmth_frac(False, temperature_c)
        ordinary_w, poor_w = (need_wh / (hours * PANEL_DERATE) for hours in (sun[chosen], poor))
        found.append(Suggestion(kind, capacity, ordinary_w, poor_w, live_nights(drawn, kind, capacity, (ordinary_w, poor_w))))
    return Plan(daily_wh, daily_ah, sun[chosen], poor, chosen + 1, climate.basis, tuple(found))


def live_nights(drawn: Drawn, kind: Chemistry, capacity_ah: float, panels_w: Sequence[float]) -> tuple[Estimate, Estimate]:
    """Nights short in 30 with either panel, by the engine of plans and what-if.

    drawn: the month in all the ways it may turn out; kind: chemistry; capacity_ah: rated [Ah]; panels_w: labels of the two panels [W].
    """
    ordinary, poor = (estimate([PER * r.below / max(r.nights, 1) for r in weigh(drawn, Candidate(
        "", kind, capacity_ah, limits_of(kind).reserve_frac, watts))]) for watts in panels_w)
    return ordinary, poor


def daily_need_wh(loads: Sequence[Load], climate: Climate, month: int) -> float:
    """What the loads take on a mean day of a month [Wh].

    loads: what is run; climate: of the place; month: 0 to 11.
    """
    above = sky.day_sky(climate.latitude_deg, sky.MONTH_STARTS[month] + sky.MONTH_DAYS[month] // 2)
    air_c = climate.air_c[month]
    room_c = max(air_c + CABIN_K, HEATED_C)
    return sum(24 * warmth_power_w(load, air_c, room_c) if follows_warmth(load) else sum(steady_power_w(load, above.dark))
               for load in loads)


def climate_by_latitude(latitude_deg: float) -> Climate:
    """The usual climate of a latitude at the sea, where nobody says how far east: with the doubt that such a guess has."""
    return Climate(f"{latitude_deg:g} degrees", latitude_deg, 0.0, 0.0,
                   tuple(between.trend(between.CLEARNESS_TREND, latitude_deg, m) for m in range(12)),
                   (sqrt(between.SILL + between.NUGGET),) * 12, tuple(between.trend(between.AIR_TREND, latitude_deg, m) for m in range(12)),
                   sqrt(between.AIR_SILL), "the usual of that latitude; with --place it is the place's own")
