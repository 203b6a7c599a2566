"""A plan in words: the table, the sentence that answers, and where each figure comes from."""
from collections.abc import Sequence
from typing import Any

from monitor.findings import Estimate
from monitor.planning.charging_paths import describe_path
from monitor.planning.climate.places import MONTHS
from monitor.planning.plan import DRAWS, PER, Drawn, PlanResult, choose, hold_limits
from monitor.reporting.life_words import list_causes, tell_years
from monitor.reporting.sentences import capitalise, number

#: heading -> what the figure rests on, one tap away on the page.
SOURCES = {
    "nights short": f"Nights in {PER}, noon to noon, in which the charge goes below the reserve, in {DRAWS} ways in which the trip may "
                    "turn out: weather, use, battery, alternator and cables drawn anew each time.",
    "fridge off": "Nights in which it switches itself off because the battery is nearly empty.",
    "days full": "Days on which the battery reaches 97 %. Lead-acid that is seldom full dies early.",
    "more driving": "Hours of driving, beyond what is planned, that would have kept it above the reserve.",
    "weight": "Battery, panel and DC-DC charger, from what such things weigh; cables not counted.",
    "room": "The battery's box, from what such batteries measure.",
    "years": "Until it holds 80 % of rated capacity, this trip repeated: lead-acid by weighted ampere-hours with corrosion (Schiffer et "
             "al. 2007), lithium by several published sets for time and use.",
    "cold, heat": "Limits of its kind, on the page Health and in `ampledger docs limits`.",
    "price": "Your own figure; none is invented.",
}
HEADINGS = ("nights short", "fridge off", "days full", "more driving", "weight", "room", "years", "cold, heat")


def cells(result: PlanResult) -> tuple[tuple[str, str], ...]:
    """One system under the headings; the price only where the owner gave one."""
    rows = [("nights short", span(result.nights_below)), ("fridge off", span(result.nights_stopped)),
            ("days full", span(result.full_days)),
            ("more driving", "–" if result.engine_hours is None else span(result.engine_hours, " h")),
            ("weight", span(result.weight_kg, " kg")), ("room", span(result.litres, " l")), ("years", tell_years(result.years)),
            ("cold, heat", "; ".join(hold_limits(result)) or "met")]
    if result.candidate.price is not None:
        rows.append(("price", number(result.candidate.price)))
    return tuple(rows)


def span(found: Estimate, unit: str = "") -> str:
    """A figure with its range.

    >>> span(Estimate(2.2, 0.1, 8.7, "first guess"), " h")
    '2 h (0–9)'
    """
    return f"{number(round(found.value))}{unit} ({number(round(found.low))}–{number(round(found.high))})"


def lead(results: Sequence[PlanResult], most_short_frac: float) -> str:
    """The answer in a sentence: the lightest system that is short seldom enough, or the least short one.

    results: of the systems; most_short_frac: share of the nights that may be short.
    """
    best = choose(results, most_short_frac)
    if best.short_share <= most_short_frac:
        return f"{capitalise(best.candidate.name)}: short on {_nights(best)}, the lightest of those that hold."
    return f"None holds. Least short: {best.candidate.name}, on {_nights(best)}."


def _nights(result: PlanResult) -> str:
    share = 100 * result.short_share
    return "fewer than 1 night in 100" if share < 0.5 else f"{share:.0f} night{'' if round(share) == 1 else 's'} in 100"


def worst_month(result: PlanResult) -> str:
    """The month that is short most often; empty where none is."""
    there = [(nights, month) for month, nights in enumerate(result.by_month) if nights is not None]
    nights, month = max(there)
    return "" if nights < 0.5 or len(there) < 2 else f"hardest in {MONTHS[month]}: short on {number(round(nights))} of {PER} nights"


def describe(result: PlanResult) -> list[str]:
    """What else there is to say of one system: driving, the hardest month, what shortens its life, warnings."""
    lines = [f"A day takes {span(result.daily_ah, ' Ah')}."]
    if result.drive_hours is not None:
        hours = result.drive_hours
        lines.append(f"{capitalise(describe_path(result.candidate.engine))}: {number(hours.value, 1)} h "
                     f"({number(hours.low, 1)}–{number(hours.high, 1)}) of driving from 50 to 95 %.")
    elif result.candidate.engine.kind != "none":
        lines.append(f"{capitalise(describe_path(result.candidate.engine))}: it does not come to 95 % by driving.")
    if worst := worst_month(result):
        lines.append(f"{capitalise(worst)}.")
    if result.shortened_by:
        lines.append(f"Its life is shortened by {list_causes(result.shortened_by)}.")
    return lines + list(result.warnings)


def climate_lines(drawn: Drawn) -> list[str]:
    """Sun and air of each month of the trip, with their range and where they come from."""
    found = []
    for stop in drawn.trip.stops:
        low, high = stop.climate.sun_range_kwh_m2_day(stop.month)
        air, spread = stop.climate.air_c[stop.month], 2 * stop.climate.air_sigma_c
        sun = stop.climate.sun_kwh_m2_day[stop.month]
        found.append(f"{MONTHS[stop.month]}, {stop.climate.name}: {sun:.1f} kWh/m² a day ({low:.1f}–{high:.1f}), {air:.0f} °C "
                     f"({air - spread:.0f} to {air + spread:.0f}); {stop.climate.month_basis[stop.month]}{stop.climate.basis}.")
    return found


def as_data(drawn: Drawn, results: Sequence[PlanResult]) -> dict[str, Any]:
    """The plan as plain data, units in the names."""
    def plain(found: Any) -> Any:
        return {"value": found.value, "low": found.low, "high": found.high} if isinstance(found, Estimate) else None

    return {"systems": [{
        "name": r.candidate.name, "chemistry": r.candidate.chemistry, "capacity_ah": r.candidate.capacity_ah,
        "panel_w": r.candidate.panel_w, "reserve_frac": r.candidate.reserve_frac, "engine": r.candidate.engine.kind,
        "price": r.candidate.price, "nights_short_per_30": plain(r.nights_below), "nights_fridge_off_per_30": plain(r.nights_stopped),
        "days_full_per_30": plain(r.full_days), "short_share": r.short_share, "unserved_ah_per_30": plain(r.unserved_ah),
        "lowest_frac": plain(r.lowest_frac), "more_driving_h_per_30": plain(r.engine_hours), "daily_ah": plain(r.daily_ah),
        "weight_kg": plain(r.weight_kg), "room_l": plain(r.litres), "years": plain(r.years), "driving_50_to_95_h": plain(r.drive_hours),
        "short_by_month_per_30": list(r.by_month), "limits_not_met": hold_limits(r), "notes": describe(r)} for r in results],
        "climate": climate_lines(drawn), "draws": DRAWS}
