"""How long a battery lives in the life that a log tells: its own hours as they were, or the same weeks with another battery."""
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import log

from monitor.battery import charge_loss
from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import USED_UP_FRAC
from monitor.findings import Z95, ChargeFindings, Estimate
from monitor.planning.load_profile import SLOT_H, Slot
from monitor.planning.model import Setup, SimulationResult, simulate
from monitor.wear.life import LifeForecast, MeasuredCapacity, forecast_life
from monitor.wear.life_use import LifeLabel, UseSlot, label_of

#: Without a thermometer the battery is taken to stand at so much [°C], and the answer says so (choice: a cabin through the year).
SUPPOSED_C = 20.0
#: An hour of the log of which less is covered says nothing (choice) [part].
LEAST_COVERED = 0.5
#: So closely the capacity is looked for at which the nights get too short (choice) [part].
STEP_FRAC = 0.01
#: Below this no battery is worth keeping, whatever its owner bears (choice) [part].
LEAST_FRAC = 0.3


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


def use_of_simulation(slots: Sequence[Slot], setup: Setup, lived: SimulationResult, start_frac: float) -> list[UseSlot]:
    """A simulated life as its wear is counted from, hour by hour.

    slots : what it was simulated over; setup : the battery; lived : with the charge of every slot kept; start_frac : charge at the
    beginning, 0 to 1
    """
    keep = 1.0 - (setup.charge_loss_frac if setup.charge_loss_frac is not None else charge_loss.FRAC[setup.chemistry])
    found, before, into, out, warm, count = [], start_frac, 0.0, 0.0, 0.0, 0
    for slot, charge in zip(slots, lived.charge_frac, strict=True):
        moved = (charge - before) * setup.capacity_ah
        into, out = into + max(moved, 0.0) / keep, out + max(-moved, 0.0)
        before, warm, count = charge, warm + slot.temperature_c, count + 1
        if count * SLOT_H >= 1.0:
            # held full by a charger: the loads are carried by it, and the battery is on charge though nothing goes in
            held = 1e-6 if slot.sun_a + slot.engine_a > slot.load_a else 0.0
            found.append(UseSlot(count * SLOT_H, min(charge, 1.0), max(into, held), out, warm / count))
            into = out = warm = 0.0
            count = 0
    return found


def forecast_on_slots(slots: Sequence[Slot], setup: Setup, start_frac: float, criterion_frac: float = USED_UP_FRAC,
                      label: LifeLabel | None = None) -> LifeForecast:
    """Years of a new battery of this set-up, used as the slots say again and again.

    slots : quarter hours of a log or a plan; setup : battery, panel and chargers; start_frac : charge at the beginning, 0 to 1
    criterion_frac : part of its rating that is too little; label : its data sheet, None: the usual of its kind
    """
    lived = simulate(list(slots), setup, start_frac, keep_trace=True)
    mine = label or label_of(Battery("house", setup.chemistry, setup.capacity_ah))
    return forecast_life(use_of_simulation(slots, setup, lived, start_frac), mine, criterion_frac)


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
        lived = simulate(list(slots), replace(setup, capacity_ah=setup.capacity_ah * frac), start_frac)
        return bool(lived.nights) and 30.0 * lived.nights_below / lived.nights > nights_per_30

    if short(1.0):
        return CapacityNeeded(None, already=True)
    if not short(LEAST_FRAC):
        return CapacityNeeded(None)
    less, enough = LEAST_FRAC, 1.0
    while enough - less > STEP_FRAC:
        middle = (less + enough) / 2
        less, enough = (middle, enough) if short(middle) else (less, middle)
    return CapacityNeeded(enough)
