"""A battery with its panel and charging paths living through a trip, hour by hour."""
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
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
#: A battery that a charger holds full is on charge though nothing goes in [Ah in an hour] (definition: more than nothing).
HELD_AH = 1e-6
#: Charges of the tables.
CHARGES = tuple(k / paths.STEPS for k in range(paths.STEPS + 1))
#: The least that the engine is taken to give where more driving is asked for, of what it could (choice: not to divide by nothing).
LEAST_RATE = 0.05
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
    out_ah : drawn from the battery; need_ah : that the loads ask for, served or not; curtailed_ah : of the sun that found no room
    by_month : (nights, below) of each month
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
    need_ah: float
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
    still = tuple(tuple(candidate.capacity_ah * taken for taken in row) for row in _still(candidate.chemistry, luck))
    engine = _driven(candidate.engine, candidate.chemistry, candidate.capacity_ah, luck) if candidate.engine.kind != "none" else still
    return _Tables(still, engine, paths.source_a(candidate.engine, luck))


@lru_cache(maxsize=400)
def _still(chemistry: Chemistry, luck: Luck) -> tuple[tuple[float, ...], ...]:
    """Taken within an hour from a charger that holds the absorption voltage, of one ampere-hour of capacity."""
    hold_v = paths.absorption_v(chemistry)
    return tuple(tuple(paths.taken_in_an_hour([paths.accepted_a(chemistry, 1.0, z, hold_v, 0.0, warm_c, luck) for z in CHARGES], 1.0))
                 for warm_c in CLASSES_C)


@lru_cache(maxsize=1000)
def _driven(engine: EnginePath, chemistry: Chemistry, capacity_ah: float, luck: Luck) -> tuple[tuple[float, ...], ...]:
    """Taken within an hour of driving [Ah].

    engine: relay or charger; chemistry, capacity_ah: of the battery [Ah]; luck: what is not known.
    """
    return tuple(tuple(paths.taken_in_an_hour([paths.engine_a(engine, chemistry, capacity_ah, z, warm_c, luck) for z in CHARGES],
                                              capacity_ah)) for warm_c in CLASSES_C)


@dataclass(slots=True)
class _Count:
    """What is counted on the way; counts begin anew once REST_DAYS are over."""

    nights: int = 0
    below: int = 0
    stopped: int = 0
    full_days: int = 0
    needed_h: float = 0.0
    unserved_ah: float = 0.0
    need_ah: float = 0.0
    out_ah: float = 0.0
    curtailed_ah: float = 0.0
    cold_days: int = 0
    hot_days: int = 0
    behind_ah: float = 0.0
    months: dict[int, list[int]] = field(default_factory=dict)
    lows: list[float] = field(default_factory=list)
    hours: list[Hour] = field(default_factory=list)


class _Life:
    """A battery on its way through a trip: charge, whether the fridge is on, and since noon the lowest charge and what happened."""

    def __init__(self, candidate: Candidate, chances: Chances, tables: _Tables, keep_hours: bool) -> None:
        self.candidate, self.tables, self.keep_hours = candidate, tables, keep_hours
        self.lead = candidate.lead_acid
        self.capacity_ah = candidate.capacity_ah * chances.capacity
        self.keep = 1 - charge_loss.FRAC[candidate.chemistry] * chances.loss
        self.panel_a = (candidate.panel_w * chances.panel * OTHER_LOSSES * (1.0 if candidate.tracking else PLAIN_CONTROLLER)
                        * max(1 - AGE_PER_YEAR * candidate.panel_years, 0.3) / CHARGING_V)
        self.shore_a = candidate.shore_a if candidate.shore_a is not None else SHORE_A
        self.limits = limits_of(candidate.chemistry)
        self.charge, self.on = START_FRAC, True
        self.low, self.was_off, self.was_full = START_FRAC, False, False
        self.warm, self.usable_ah = len(BOUNDS_C), self.capacity_ah
        self.count = _Count()

    def begin_day(self, day: TripDay) -> None:
        """Set what follows the battery's warmth."""
        self.warm = sum(day.battery_c >= bound for bound in BOUNDS_C)
        self.usable_ah = self.capacity_ah * warmth_frac(self.lead, day.battery_c)
        cold_c = self.limits.cold_charge_c
        self.count.cold_days += cold_c is not None and day.battery_c < cold_c
        self.count.hot_days += day.battery_c > self.limits.hot_c

    def end_night(self, day: TripDay) -> None:
        """It is noon: count the night that is over, and begin another."""
        count, reserve, source_a = self.count, self.candidate.reserve_frac, self.tables.source_a
        month = count.months.setdefault(day.month, [0, 0])
        count.nights += 1
        month[0] += 1
        count.stopped += self.was_off
        count.full_days += self.was_full
        short_ah = max(reserve - self.low, 0.0) * self.usable_ah
        if short_ah:
            count.below += 1
            month[1] += 1
            if short_ah > count.behind_ah and source_a:
                rate = max(self.tables.engine[self.warm][int(reserve * paths.STEPS)], LEAST_RATE * source_a)
                count.needed_h += (short_ah - count.behind_ah) / rate
        count.behind_ah = short_ah
        count.lows.append(self.low)
        self.low, self.was_off, self.was_full = self.charge, not self.on, False

    def fridge(self, charge: float, cut: float) -> None:
        """Switch the fridge off where the battery is nearly empty, on where it is back.

        charge: left, 0 to 1; cut: at which it goes off, 0 to 1.
        """
        if self.on and charge < cut:
            self.on, self.was_off = False, True
        elif not self.on and charge > cut + BACK_FRAC:
            self.on = True

    def live_hours(self, day: TripDay, hours: range) -> None:
        """Live some hours of a day; day: its sun, loads and driving; hours: which."""
        z, low, usable, keep, cut = self.charge, self.low, self.usable_ah, self.keep, CUT_FRAC[self.lead]
        still, driven, source_a = self.tables.still[self.warm], self.tables.engine[self.warm], self.tables.source_a
        panel_a, drift, count = self.panel_a, 1 - SELF_PER_H[self.lead], self.count
        needed = out = unserved = 0.0
        for hour in hours:
            need = day.load_a[hour]
            if z < cut or not self.on:
                self.fridge(z, cut)
            if self.on:
                need += day.fridge_a[hour]
            else:
                unserved += day.fridge_a[hour]
            needed += day.load_a[hour] + day.fridge_a[hour]
            sun = day.sun_w[hour] * panel_a
            net = sun - need
            at = int(z * 100)
            limit = still[at] if net > 0 else 0.0
            if day.drive_h[hour]:
                net += source_a * day.drive_h[hour]
                limit = max(limit, driven[at] * day.drive_h[hour])
            if day.shore_h[hour]:
                net += self.shore_a
                limit = max(limit, still[at])
            if net > 0:
                taken = net if net < limit else limit
                count.curtailed_ah += min(net - taken, sun)
                z += taken * keep / usable
                if z >= FULL_FRAC:
                    self.was_full, z = True, min(z, 1.0)
            else:
                taken = net
                out -= net
                z += net / usable
                if z < 0:
                    unserved -= z * usable
                    z, self.was_off = 0.0, True
            z *= drift
            if z < low:
                low = z
            if self.keep_hours:
                count.hours.append(Hour(z, max(taken, HELD_AH if net > 0 else 0.0), max(-taken, 0.0), day.battery_c))
        self.charge, self.low = z, low
        count.need_ah += needed
        count.out_ah += out
        count.unserved_ah += unserved


def live(days: Sequence[TripDay], candidate: Candidate, chances: Chances = Chances(),          # noqa: B008 - frozen
         keep_hours: bool = False) -> TripResult:
    """Live the days of a trip with a candidate.

    days: as drawn, the first REST_DAYS not counted; candidate: the system; chances: what is not known; keep_hours: for what counts
    wear.
    """
    life = _Life(candidate, chances, make_tables(candidate, chances.luck), keep_hours)
    for number, day in enumerate(days):
        if number == REST_DAYS:
            life.count, life.low = _Count(), life.charge
        life.begin_day(day)
        life.live_hours(day, range(NOON))
        if number > REST_DAYS:
            life.end_night(day)
        life.live_hours(day, range(NOON, 24))
    c = life.count
    return TripResult(c.nights, c.below, c.stopped, c.full_days, c.unserved_ah, min(c.lows, default=life.low),
                      c.needed_h if life.tables.source_a else None, c.cold_days, c.hot_days, c.out_ah, c.need_ah, c.curtailed_ah,
                      tuple((c.months.get(m, [0, 0])[0], c.months.get(m, [0, 0])[1]) for m in range(12)), tuple(c.hours), tuple(c.lows))


def warmth_frac(lead: bool, temperature_c: float) -> float:
    """Capacity at a temperature over that at 25 °C, for the slow discharge of a night.

    lead: lead-acid; temperature_c: of the battery [°C].
    """
    if lead:
        return max(min(ratings.warmth_factor(temperature_c), 1.1), 0.4)
    return min(1 + LITHIUM_PER_K * (temperature_c - REFERENCE_C), 1.0)
