"""How long a battery lives in the life that a log tells: its own hours as they were, or the same weeks with another battery."""
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import log

from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import USED_UP_FRAC
from monitor.findings import Z95, ChargeFindings, Estimate
from monitor.parameters import table
from monitor.planning.life_engine import LivedSlot
from monitor.planning.load_profile import SLOT_H, Slot
from monitor.planning.model import Setup, simulate
from monitor.wear.life import LifeForecast, MeasuredCapacity, forecast_life
from monitor.wear.life_use import LifeLabel, UseSlot, label_of

P = table("planning", "life_on_log")
SUPPOSED_C, LEAST_COVERED = P.number("supposed_c"), P.number("least_covered")
STEP_FRAC, LEAST_FRAC = P.number("step_frac"), P.number("least_frac")


def read_use(hours: Iterable[tuple[float, float, dict[str, float | None]]]) -> tuple[list[UseSlot], bool]:
    """The log's hours as a life, and whether any of them had a thermometer on the battery.

    hours : rows of the log's level "hours", as (UTC start, UTC end, values). Hours of which nothing is known are left out: the
    life is the rest of it.
    """
    rows = [v for start, end, v in hours if v["charge_frac"] is not None and (v["covered_s"] or 0.0) >= LEAST_COVERED * (end - start)]
    warm = [v["house_temperature_c"] for v in rows if v["house_temperature_c"] is not None]
    last_c = sum(warm) / len(warm) if warm else SUPPOSED_C
    found = []
    for v in rows:
        last_c = v["house_temperature_c"] if v["house_temperature_c"] is not None else last_c
        found.append(UseSlot((v["covered_s"] or 0.0) / 3600.0, min(max(v["charge_frac"] or 0.0, 0.0), 1.0), v["charge_in_ah"] or 0.0,
                             v["charge_out_ah"] or 0.0, last_c, v["house_voltage_v"]))
    return found, bool(warm)


def use_of_life(slots: Sequence[LivedSlot], slot_h: float, count: int) -> list[UseSlot]:
    """A lived life as its wear is counted from.

    slots : of it; slot_h : length of one [h]; count : so many are taken together
    """
    found = []
    for k in range(0, len(slots) - count + 1, count):
        part = slots[k:k + count]
        found.append(UseSlot(count * slot_h, part[-1].charge_frac, sum(s.charge_ah for s in part), sum(s.discharge_ah for s in part),
                             sum(s.temperature_c for s in part) / count))
    return found


def forecast_on_slots(slots: Sequence[Slot], setup: Setup, start_frac: float, criterion_frac: float = USED_UP_FRAC,
                      label: LifeLabel | None = None) -> LifeForecast:
    """Years of a new battery of this set-up, used as the slots say again and again.

    slots : quarter hours of a log or a plan; setup : battery, panel and chargers; start_frac : charge at the beginning, 0 to 1
    criterion_frac : part of its rating that is too little; label : its data sheet, None: the usual of its kind
    """
    lived = simulate(slots, setup, start_frac, keep_slots=True)
    mine = label or label_of(Battery("house", setup.chemistry, setup.capacity_ah))
    return forecast_life(use_of_life(lived.slots, SLOT_H, round(1 / SLOT_H)), mine, criterion_frac)


def measured_capacity(vehicle: Vehicle, charge: ChargeFindings, age_years: float | None) -> MeasuredCapacity | None:
    """What the charge tracker believes of the capacity, as the life's forecast takes it; None while nothing is known of it.

    vehicle : its label; charge : what the tracker found; age_years : since the battery was put in, None: nobody said
    """
    size = charge.capacity_ah
    if not isinstance(size, Estimate) or size.basis in ("label", "first guess"):
        return None
    return MeasuredCapacity(size.value / vehicle.house.rated_capacity_ah, _sigma_ln(size), age_years)


def _sigma_ln(size: Estimate) -> float:
    return max((log(max(size.high, 1e-3)) - log(max(size.low, 1e-3))) / (2 * Z95), 0.01)


@dataclass(frozen=True, slots=True)
class CapacityNeeded:
    """Part of its rating below which a life gets too short for its owner.

    frac : None where no capacity that was tried makes that difference; already : it is too short with all of its rating
    """

    frac: float | None
    already: bool = False


def capacity_needed(slots: Sequence[Slot], setup: Setup, start_frac: float, nights_per_30: float) -> CapacityNeeded:
    """Part of the rating below which this life is short on more than so many nights in 30: the owner's own end of life.

    Looked for between LEAST_FRAC and all of it, to STEP_FRAC. slots : the life; setup : the battery as rated; start_frac : charge at the
    beginning, 0 to 1; nights_per_30 : what its owner bears.
    """
    def short(frac: float) -> bool:
        lived = simulate(slots, replace(setup, capacity_ah=setup.capacity_ah * frac), start_frac)
        return bool(lived.nights) and 30.0 * lived.below / lived.nights > nights_per_30

    if short(1.0):
        return CapacityNeeded(None, already=True)
    if not short(LEAST_FRAC):
        return CapacityNeeded(None)
    less, enough = LEAST_FRAC, 1.0
    while enough - less > STEP_FRAC:
        middle = (less + enough) / 2
        less, enough = (middle, enough) if short(middle) else (less, middle)
    return CapacityNeeded(enough)
