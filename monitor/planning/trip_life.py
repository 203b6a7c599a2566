"""A battery with its panel and charging paths living through a trip, hour by hour."""
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from monitor.battery import charge_loss, ratings
from monitor.battery.label import Chemistry
from monitor.battery.limits import limits_of
from monitor.parameters import table
from monitor.planning import charging_paths as paths
from monitor.planning.charging_paths import EnginePath, Luck
from monitor.planning.trip_weather import REST_DAYS, TripDay

P, PANEL = table("planning", "plan"), table("planning", "panel")
CUT_FRAC = {True: P.number("lead_cut_frac"), False: P.number("lithium_cut_frac")}
BACK_FRAC, SHORE_A = P.number("back_frac"), P.number("shore_a")
SELF_PER_H = {True: P.number("lead_self_per_h"), False: P.number("lithium_self_per_h")}
OTHER_LOSSES, CHARGING_V = PANEL.number("other_losses"), PANEL.number("charging_v")
PLAIN_CONTROLLER, AGE_PER_YEAR = PANEL.number("plain_controller"), PANEL.number("age_per_year")
FULL_FRAC = table("planning", "charging").number("full_frac")
#: Warmth at which acceptance is worked out once for all hours [°C], and what lies between the classes.
CLASSES_C, BOUNDS_C = (-5.0, 3.0, 12.0, 25.0), (0.0, 7.0, 18.0)
#: Charge with which a trip begins (choice: REST_DAYS are lived before anything is counted), noon, and the label's temperature.
START_FRAC, NOON, REFERENCE_C = 0.9, 12, 25.0
#: Lithium's own rate of warmth is small; lead-acid's is that of IEC 60896-21 for long discharges [1/K].
LITHIUM_PER_K = table("battery", "lithium_warmth").number("slow_per_k")


@dataclass(frozen=True, slots=True)
class Candidate:
    """A system to compare.

    capacity_ah : rated; reserve_frac : that its owner wants to keep
    panel_w : label of all panels; tilt_deg, mount : how they lie; tracking : the controller finds the panel's maximum
    panel_years : their age; price : the owner's figure, None: none was given
    """

    name: str
    chemistry: Chemistry
    capacity_ah: float
    reserve_frac: float
    panel_w: float = 0.0
    engine: EnginePath = EnginePath()
    tilt_deg: float = 0.0
    mount: Literal["roof", "free"] = "roof"
    tracking: bool = True
    panel_years: float = 0.0
    shore_a: float | None = None
    price: float | None = None

    @property
    def lead_acid(self) -> bool:
        """Whether it is lead-acid."""
        return self.chemistry != "lfp"


@dataclass(frozen=True, slots=True)
class Chances:
    """What is not known of one vehicle and its battery: capacity and panel as factors, charging loss as a factor."""

    luck: Luck = Luck()
    capacity: float = 1.0
    panel: float = 1.0
    loss: float = 1.0


@dataclass(slots=True)
class Hour:
    """One hour of a life, as wear is counted from."""

    charge_frac: float
    charge_ah: float
    discharge_ah: float
    temperature_c: float


@dataclass(frozen=True, slots=True)
class TripResult:
    """What became of it.

    nights : counted, noon to noon; below : under the reserve; stopped : in which the fridge went off
    full_days : that reached full; unserved_ah : that loads missed; lowest_frac : charge
    engine_hours : of driving more, that would have kept it above the reserve, beyond what was driven; None: no path from the engine
    cold_days, hot_days : on which the battery stood below its limit for charging, or above that for heat
    out_ah : drawn; by_month : (nights, below) of each month
    """

    nights: int
    below: int
    stopped: int
    full_days: int
    unserved_ah: float
    lowest_frac: float
    engine_hours: float | None
    cold_days: int
    hot_days: int
    out_ah: float
    curtailed_ah: float
    by_month: tuple[tuple[int, int], ...]
    hours: tuple[Hour, ...] = ()
    lows: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class _Tables:
    """Ah taken within an hour from each per cent, by class of warmth: sun or shore, and engine; and what the engine brings [A]."""

    still: tuple[tuple[float, ...], ...]
    engine: tuple[tuple[float, ...], ...]
    source_a: float


def make_tables(candidate: Candidate, luck: Luck) -> _Tables:
    """What a candidate's battery takes; candidate: the system; luck: what is not known."""
    kind, capacity, hold_v = candidate.chemistry, candidate.capacity_ah, paths.absorption_v(candidate.chemistry)
    still, engine = [], []
    for warm_c in CLASSES_C:
        still.append(tuple(paths.taken_in_an_hour(
            lambda z, t=warm_c: paths.accepted_a(kind, capacity, z, hold_v, 0.0, t, luck), capacity)))     # type: ignore[misc]
        engine.append(tuple(paths.taken_in_an_hour(
            lambda z, t=warm_c: paths.engine_a(candidate.engine, kind, capacity, z, t, luck), capacity))    # type: ignore[misc]
            if candidate.engine.kind != "none" else still[-1])
    return _Tables(tuple(still), tuple(engine), paths.source_a(candidate.engine, luck))


def live(days: Sequence[TripDay], candidate: Candidate, chances: Chances = Chances(),          # noqa: B008 - frozen
         keep_hours: bool = False, tables: _Tables | None = None) -> TripResult:
    """Live the days of a trip with a candidate.

    days: as drawn, the first REST_DAYS not counted; candidate: the system; chances: what is not known; keep_hours: for what counts
    wear; tables: what the battery takes, None: worked out here.
    """
    lead = candidate.lead_acid
    capacity = candidate.capacity_ah * chances.capacity
    tables = tables or make_tables(candidate, chances.luck)
    keep = 1 - charge_loss.FRAC[candidate.chemistry] * chances.loss
    panel_a = (candidate.panel_w * chances.panel * OTHER_LOSSES * (1.0 if candidate.tracking else PLAIN_CONTROLLER)
               * max(1 - AGE_PER_YEAR * candidate.panel_years, 0.3) / CHARGING_V)
    shore_a = candidate.shore_a if candidate.shore_a is not None else SHORE_A
    drift = 1 - SELF_PER_H[lead]
    limits = limits_of(candidate.chemistry)
    reserve, z, on = candidate.reserve_frac, START_FRAC, True
    nights = below = stopped = full_days = cold_days = hot_days = 0
    unserved = out = curtailed = needed_h = 0.0
    lowest, low, was_off, was_full, behind = 1.0, 1.0, False, False, 0.0
    months: dict[int, list[int]] = {}
    hours: list[Hour] = []
    lows: list[float] = []
    source_a = tables.source_a
    cut = CUT_FRAC[lead]
    back = cut + BACK_FRAC
    for number, day in enumerate(days):
        counted = number >= REST_DAYS
        warm = 0
        while warm < len(BOUNDS_C) and day.battery_c >= BOUNDS_C[warm]:
            warm += 1
        still, driven = tables.still[warm], tables.engine[warm]
        usable = capacity * warmth_frac(lead, day.battery_c)
        if counted:
            cold_days += limits.cold_charge_c is not None and day.battery_c < limits.cold_charge_c
            hot_days += day.battery_c > limits.hot_c
        for hour in range(24):
            if hour == NOON:
                if counted and number > REST_DAYS:
                    month = months.setdefault(day.month, [0, 0])
                    nights += 1
                    month[0] += 1
                    stopped += was_off
                    full_days += was_full
                    if low < reserve:
                        below += 1
                        month[1] += 1
                        short = (reserve - low) * usable
                        if short > behind and source_a:
                            rate = max(driven[int(reserve * 100)], 0.05 * source_a)
                            needed_h += (short - behind) / rate
                        behind = short
                    else:
                        behind = 0.0
                    lows.append(low)
                low, was_off, was_full = z, not on, False
            need = day.load_a[hour]
            cold = day.fridge_a[hour]
            if on:
                if z < cut:
                    on, was_off = False, True
            elif z > back:
                on = True
            if on:
                need += cold
            elif counted:
                unserved += cold
            sun = day.sun_w[hour] * panel_a
            net = sun - need
            at = int(z * 100)
            limit = still[at] if net > 0 else 0.0
            drive = day.drive_h[hour]
            if drive and source_a:
                net += source_a * drive
                limit = max(limit, driven[at] * drive)
            if day.shore_h[hour]:
                net += shore_a
                limit = max(limit, still[at])
            if net > 0:
                taken = net if net < limit else limit
                if taken < net and counted:
                    curtailed += min(net - taken, sun)
                z += taken * keep / usable
                if z >= FULL_FRAC:
                    was_full = True
                    if z > 1:
                        z = 1.0
            else:
                taken = net
                z += net / usable
                if counted:
                    out -= net
                if z < 0:
                    if counted:
                        unserved -= z * usable
                    z, was_off = 0.0, True
            z *= drift
            if z < low:
                low = z
                if z < lowest and counted:
                    lowest = z
            if keep_hours and counted:
                hours.append(Hour(z, max(taken, 0.0), max(-taken, 0.0), day.battery_c))
    return TripResult(nights, below, stopped, full_days, unserved, lowest, needed_h if source_a else None, cold_days, hot_days, out,
                      curtailed, tuple((months.get(m, [0, 0])[0], months.get(m, [0, 0])[1]) for m in range(12)), tuple(hours), tuple(lows))


def warmth_frac(lead: bool, temperature_c: float) -> float:
    """Capacity at a temperature over that at 25 °C, for the slow discharge of a night.

    lead: lead-acid; temperature_c: of the battery [°C].
    """
    if lead:
        return max(min(ratings.warmth_factor(temperature_c), 1.1), 0.4)
    return min(1 + LITHIUM_PER_K * (temperature_c - REFERENCE_C), 1.0)
