"""A set-up living a life: a plain battery model, quarter hour by quarter hour."""
from dataclasses import dataclass

from monitor.battery import charge_loss
from monitor.battery.label import Chemistry
from monitor.battery.limits import limits_of
from monitor.planning.load_profile import SLOT_H, Slot

#: Charge that lead-acid accepts near full: what is missing over so many hours (Schiffer et al., J. Power
#: Sources 168 (2007) 66: acceptance dies away with what is missing; 0.8 to 2 h).
ACCEPTANCE_H = 1.3
DC_DC_EFFICIENCY = 0.92  # common practice


@dataclass(frozen=True, slots=True)
class Setup:
    """A battery with the panel and the charging around it."""

    name: str
    chemistry: Chemistry
    capacity_ah: float
    reserve_frac: float = 0.5
    sun_ratio: float = 1.0                  # panel against the one of the log
    solar_limit_a: float | None = None      # of the solar charger
    engine_limit_a: float | None = None     # of a DC-DC charger; None: what the log's alternator gave
    load_ratio: float = 1.0                 # a thriftier fridge: below 1
    charge_loss_frac: float | None = None   # None: the usual of its construction
    rated_load_a: float | None = None       # for the rate effect; None: a twentieth of the capacity

    @property
    def lead_acid(self) -> bool:
        return self.chemistry != "lfp"


@dataclass(frozen=True, slots=True)
class SimulationResult:
    """What became of it."""

    charge_frac: tuple[float, ...]
    nights: int
    nights_below: int
    unserved_ah: float
    lowest_frac: float
    charge_out_ah: float
    full_days: int
    engine_ah: float
    curtailed_ah: float


def simulate(slots: list[Slot], setup: Setup, start_frac: float, engine_peak_a: float = 0.0,
         keep_trace: bool = False, serves_from_frac: float | None = None) -> SimulationResult:
    """Run a life through a set-up.

    Nights are counted from noon to noon; one is below when the charge falls under the reserve in it.
    A load that finds the battery empty is not served and counted. While the engine runs, the battery
    takes what the log shows, or up to engine_peak_a (the most the log shows) if there is room and it
    accepts it; a DC-DC charger gives its limit. Lithium is not charged below its limit of cold (limits.toml). Use that a flat
    battery had prevented comes back while the charge is above serves_from_frac (None: it stays prevented).
    slots: quarter hours of the log; setup: battery, panel and chargers; start_frac: charge at the start, 0 to 1; keep_trace:
    whether the charge of every quarter hour is kept; engine_peak_a: the most the engine gives [A], 0: only what the log shows;
    serves_from_frac: charge below which loads go off, 0 to 1.
    """
    capacity, lead, cold_c = setup.capacity_ah, setup.lead_acid, limits_of(setup.chemistry).cold_charge_c
    keep = 1 - (setup.charge_loss_frac if setup.charge_loss_frac is not None else charge_loss.FRAC[setup.chemistry])
    charge = start_frac * capacity
    served = float("inf") if serves_from_frac is None else serves_from_frac * capacity
    reserve, accept = setup.reserve_frac * capacity, 1 / ACCEPTANCE_H
    drift = 1 - (0.0011 if lead else 0.0007) / 24 * SLOT_H    # 3 and 2 % a month (common practice)
    limit = setup.solar_limit_a if setup.solar_limit_a is not None else float("inf")
    ratio, load_ratio, engine_limit = setup.sun_ratio, setup.load_ratio, setup.engine_limit_a
    unserved = out = engine_ah = curtailed = 0.0
    nights = below = full_days = 0
    lowest, night_low, was_full, last_hour = charge, charge, False, slots[0].hour if slots else 0.0
    trace: list[float] = []
    for slot in slots:
        hour = slot.hour
        if last_hour < 12 <= hour or (hour < last_hour and hour >= 12):
            nights += 1
            below += night_low < reserve
            full_days += was_full
            night_low, was_full = charge, False
        last_hour = hour
        load = slot.load_a * load_ratio
        if slot.prevented_a and charge > served:
            load += slot.prevented_a * load_ratio
        sun = min(slot.sun_a * ratio, limit)
        engine = 0.0
        if slot.engine_on:
            engine = engine_limit * DC_DC_EFFICIENCY if engine_limit is not None else max(slot.engine_a, engine_peak_a)
        elif slot.engine_a > 0:
            engine = slot.engine_a          # mains
        net = sun + engine - load
        if net > 0:
            room = capacity - charge
            taken = min(net, room * accept if lead else room / (SLOT_H * keep))
            if cold_c is not None and slot.temperature_c < cold_c:
                taken = 0.0
            lost = min(net - taken, sun)
            curtailed += lost * SLOT_H
            if engine:
                engine_ah += max(min(engine, taken), 0.0) * SLOT_H
            charge += taken * keep * SLOT_H
            if charge > 0.97 * capacity:
                was_full = True
        else:
            charge += net * SLOT_H
            out -= net * SLOT_H
            if charge < 0:
                unserved -= charge
                charge = 0.0
        charge *= drift
        if charge < night_low:
            night_low = charge
            if charge < lowest:
                lowest = charge
        if keep_trace:
            trace.append(charge / capacity)
    return SimulationResult(tuple(trace), nights, below, unserved, lowest / capacity, out, full_days, engine_ah, curtailed)
