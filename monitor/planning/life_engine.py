"""A battery with what charges it, living one slot after another: the one step behind plans, what-if and years of life.

A plan draws its days from climate and loads (trip_weather.py), a log brings its own (load_profile.py). What is carried is the same:
loads, sun, driving and what else charges it, and how warm the battery is.
"""
from collections.abc import Sequence
from dataclasses import dataclass, field

from monitor.battery import ratings
from monitor.battery.lead_acid import REFERENCE_C
from monitor.battery.limits import Limits
from monitor.parameters import table
from monitor.planning.charging_paths import STEPS

#: Lithium's own rate of warmth is small; lead-acid's is that of IEC 60896-21 for long discharges [1/K].
LITHIUM_PER_K = table("battery", "lithium_warmth").number("slow_per_k")
P = table("planning", "charging")
FULL_FRAC, LEAST_RATE, HELD_AH = P.number("full_frac"), P.number("least_rate"), P.number("held_ah")
#: Warmth at which acceptance is worked out once for all slots [°C], and what lies between the classes.
CLASSES_C, BOUNDS_C = P.numbers("classes_c"), P.numbers("bounds_c")
#: Capacity by warmth is not followed beyond these.
LEAST_WARMTH, MOST_WARMTH = P.numbers("warmth_limits")


@dataclass(frozen=True, slots=True)
class LifeDay:
    """One day from midnight to midnight in slots of equal length; each list holds one figure a slot.

    sun : what Rig.sun_ah multiplies (of a plan: Wh that one watt of panel label gives; of a log: Ah that came, or would have)
    load_ah : what is always served; fridge_ah : what goes off with a flat battery
    drive_share, other_share : part of the slot with the engine running, and on another charger
    air_c : mean of the day [°C]; battery_c : where the battery stands [°C]; month : 0 to 11; noon : number of the first slot after it
    sure_ah : of a log, what was seen going into the present battery, whatever it should take [Ah]; empty: nothing was
    """

    sun: list[float]
    load_ah: list[float]
    fridge_ah: list[float]
    drive_share: list[float]
    other_share: list[float]
    air_c: float
    battery_c: float
    month: int
    noon: int = 12
    sure_ah: list[float] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Rig:
    """A battery and its charging, as one life has them; what is per slot goes by the length of the days' slots.

    capacity_ah : at 25 °C [Ah], of which charge is counted whatever the warmth, as a log counts it; follows_warmth : in the cold it is
        empty earlier, when less is out (a log shows when it was)
    beyond_frac : part of it that comes out beyond rated empty, at currents smaller than the rated one; charge counts as 0 there
    reserve_frac, cut_frac, back_frac : charge that its owner keeps, at which loads go off (infinite: they stay off), and so much more
        at which they are back
    keep_frac : part of what goes in that comes out again; drift_frac : of the charge that is still there after a slot of nothing
    sun_ah : of a slot with sun 1 [Ah]; sun_most_ah : that the solar charger passes
    engine_ah : that the engine brings in a slot, battery and loads together; other_ah : the same of another charger
    load_ratio, fridge_ratio : what loads and fridge take, over what the days say
    still, driven : what the battery takes in a slot by class of warmth and per cent of charge [Ah]: held at absorption, and by the engine
    """

    limits: Limits
    capacity_ah: float
    reserve_frac: float
    cut_frac: float
    back_frac: float
    keep_frac: float
    drift_frac: float
    sun_ah: float
    engine_ah: float
    other_ah: float
    still: tuple[tuple[float, ...], ...]
    driven: tuple[tuple[float, ...], ...]
    sun_most_ah: float = float("inf")
    load_ratio: float = 1.0
    fridge_ratio: float = 1.0
    lead_acid: bool = True
    follows_warmth: bool = True
    beyond_frac: float = 0.0


@dataclass(slots=True)
class LivedSlot:
    """One slot of a life, as wear is counted from."""

    charge_frac: float
    charge_ah: float
    discharge_ah: float
    temperature_c: float


@dataclass(frozen=True, slots=True)
class LifeResult:
    """What became of it.

    nights : counted, noon to noon; below : under the reserve; stopped : in which the fridge went off
    full_days : that reached full; unserved_ah : that loads missed; lowest_frac : charge
    engine_hours : of driving more, that would have kept it above the reserve, beyond what was driven; None: no path from the engine
    cold_days, hot_days : on which the battery stood below its limit for charging, or above that for heat
    out_ah : drawn from the battery; need_ah : that the loads ask for, served or not; curtailed_ah : of the sun that found no room
    by_month : (nights, below) of each month; lows : lowest charge of each night; slots : only where they were asked for
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
    slots: tuple[LivedSlot, ...] = ()
    lows: tuple[float, ...] = ()

    @property
    def charge_frac(self) -> tuple[float, ...]:
        """Charge at the end of every slot, where they were kept."""
        return tuple(slot.charge_frac for slot in self.slots)


@dataclass(slots=True)
class _Count:
    """What is counted on the way; counts begin anew once the first days are over."""

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
    slots: list[LivedSlot] = field(default_factory=list)


class _Life:
    """A battery on its way: charge, whether the fridge is on, and since noon the lowest charge and what happened."""

    def __init__(self, rig: Rig, start_frac: float, keep_slots: bool) -> None:
        self.rig, self.keep_slots = rig, keep_slots
        self.charge, self.on = start_frac, rig.cut_frac < float("inf")
        self.low, self.was_off, self.was_full = start_frac, False, False
        self.warm, self.empty, self.cut_frac = len(BOUNDS_C), -rig.beyond_frac, rig.cut_frac
        self.count = _Count()

    def begin_day(self, day: LifeDay) -> None:
        """Set what follows the battery's warmth."""
        rig, cold_c = self.rig, self.rig.limits.cold_charge_c
        self.warm = sum(day.battery_c >= bound for bound in BOUNDS_C)
        less = 1.0 - warmth_frac(rig.lead_acid, day.battery_c) if rig.follows_warmth else 0.0
        self.empty, self.cut_frac = less - rig.beyond_frac, rig.cut_frac + less
        self.count.cold_days += cold_c is not None and day.battery_c < cold_c
        self.count.hot_days += day.battery_c > rig.limits.hot_c

    def end_night(self, day: LifeDay) -> None:
        """It is noon: count the night that is over, and begin another."""
        count, rig = self.count, self.rig
        month = count.months.setdefault(day.month, [0, 0])
        count.nights += 1
        month[0] += 1
        count.stopped += self.was_off
        count.full_days += self.was_full
        short_ah = max(rig.reserve_frac - self.low, 0.0) * rig.capacity_ah
        if short_ah:
            count.below += 1
            month[1] += 1
            if short_ah > count.behind_ah and rig.engine_ah:
                rate = max(rig.driven[self.warm][int(rig.reserve_frac * STEPS)], LEAST_RATE * rig.engine_ah)
                count.needed_h += (short_ah - count.behind_ah) / rate
        count.behind_ah = short_ah
        count.lows.append(self.low)
        self.low, self.was_off, self.was_full = max(self.charge, 0.0), not self.on, False

    def fridge(self, charge: float) -> None:
        """Switch the fridge off where the battery is nearly empty, on where it is back; charge: left, 0 to 1."""
        if self.on and charge < self.cut_frac:
            self.on, self.was_off = False, True
        elif not self.on and charge > self.cut_frac + self.rig.back_frac:
            self.on = True

    def live_slots(self, day: LifeDay, slots: range) -> None:
        """Live some slots of a day; day: its sun, loads and driving; slots: which."""
        rig, count, z, low, whole = self.rig, self.count, self.charge, self.low, self.rig.capacity_ah
        keep, cut, drift, sun_ah, sun_most = rig.keep_frac, self.cut_frac, rig.drift_frac, rig.sun_ah, rig.sun_most_ah
        empty, sure = self.empty, day.sure_ah
        still, driven, engine_ah, ratio = rig.still[self.warm], rig.driven[self.warm], rig.engine_ah, rig.load_ratio
        cold_ratio = rig.fridge_ratio
        needed = out = unserved = 0.0
        for k in slots:
            need = day.load_ah[k] * ratio
            cold = day.fridge_ah[k] * cold_ratio
            needed += need + cold
            if z < cut or not self.on:
                self.fridge(z)
            if self.on:
                need += cold
            else:
                unserved += cold
            sun = day.sun[k] * sun_ah
            if sun > sun_most:
                sun = sun_most
            net = sun - need
            at = int(z * STEPS) if z > 0 else 0
            limit = still[at] if net > 0 else 0.0
            if day.drive_share[k]:
                net += engine_ah * day.drive_share[k]
                limit = max(limit, driven[at] * day.drive_share[k])
            if day.other_share[k]:
                net += rig.other_ah * day.other_share[k]
                limit = max(limit, still[at])
            if net > 0:
                if sure and sure[k] > limit:
                    limit = sure[k]
                taken = net if net < limit else limit
                count.curtailed_ah += min(net - taken, sun)
                z += taken * keep / whole
                if z >= FULL_FRAC:
                    self.was_full, z = True, min(z, 1.0)
            else:
                left = z + net / whole
                if left < empty:
                    least = min(z, empty)
                    unserved += (least - left) * whole
                    left, self.was_off = least, True
                taken = (left - z) * whole
                out -= taken
                z = left
            z *= drift
            if z < low:
                low = z
            if self.keep_slots:
                count.slots.append(LivedSlot(max(z, 0.0), max(taken, HELD_AH if net > 0 else 0.0), max(-taken, 0.0), day.battery_c))
        self.charge, self.low = z, max(low, 0.0)
        count.need_ah += needed
        count.out_ah += out
        count.unserved_ah += unserved


def live(days: Sequence[LifeDay], rig: Rig, start_frac: float, rest_days: int = 0, keep_slots: bool = False) -> LifeResult:
    """Live days one after another.

    days: of a trip or a log; rig: the battery and what charges it; start_frac: charge at the beginning, 0 to 1; rest_days: at the
    beginning that do not count; keep_slots: for what counts wear.
    """
    life = _Life(rig, start_frac, keep_slots)
    for number, day in enumerate(days):
        if number == rest_days:
            life.count, life.low = _Count(), life.charge
        life.begin_day(day)
        life.live_slots(day, range(day.noon))
        if day.noon < len(day.sun) and (number > rest_days or not rest_days and day.noon):
            life.end_night(day)
        life.live_slots(day, range(day.noon, len(day.sun)))
    c = life.count
    return LifeResult(c.nights, c.below, c.stopped, c.full_days, c.unserved_ah, min(c.lows + [life.low]) if not rest_days else
                      min(c.lows, default=life.low), c.needed_h if rig.engine_ah else None, c.cold_days, c.hot_days, c.out_ah, c.need_ah,
                      c.curtailed_ah, tuple((c.months.get(m, [0, 0])[0], c.months.get(m, [0, 0])[1]) for m in range(12)),
                      tuple(c.slots), tuple(c.lows))


def warmth_frac(lead: bool, temperature_c: float) -> float:
    """Capacity at a temperature over that at 25 °C, for the slow discharge of a night.

    lead: lead-acid; temperature_c: of the battery [°C].
    """
    if lead:
        return max(min(ratings.warmth_factor(temperature_c), MOST_WARMTH), LEAST_WARMTH)
    return min(1 + LITHIUM_PER_K * (temperature_c - REFERENCE_C), 1.0)
