"""A vehicle left standing: what drains its batteries, for how long they last, at what charge to leave them, where frost bites."""
from dataclasses import dataclass
from math import inf, isfinite

from monitor.battery import frost
from monitor.battery.label import Battery, Vehicle
from monitor.battery.lead_acid import KINDS
from monitor.detection.starter.starter import DOUBTFUL_V
from monitor.findings import Answer, Estimate
from monitor.parameters import table
from monitor.planning import storage

P = table("planning", "parked")
EXCESSIVE_A, MONTH_DAYS = P.number("excessive_a"), P.number("month_days")
TEMPERATURE_LIMITS_C, WEEKS_LIMITS = P.numbers("temperatures_c"), P.numbers("weeks")


@dataclass(frozen=True, slots=True)
class Span:
    """From the least to the most, and the likeliest where there is one; infinite where it never comes."""

    low: float
    high: float
    likely: float | None = None


@dataclass(frozen=True, slots=True)
class ParkedBattery:
    """One battery of a standing vehicle.

    charge_frac : now, as (low, high); capacity_ah : it is calculated with [Ah]
    drain_a : by loads, as (low, high) [A]; self_discharge_a : by itself, likewise
    refresh_days : until it is down to the charge at which it should be charged again, (75 % for lead-acid)
    limit_days : until a start is doubtful (starter), or its reserve is reached (house)
    limit_frac : that charge
    leave_at_frac : charge to leave it at; look_every_days : the longest time to leave it unseen
    freezes_now_c, freezes_then_c : where its acid freezes, now and when it is down to the limit; None for lithium
    """

    name: str
    chemistry: str
    charge_frac: Span
    capacity_ah: float
    drain_a: Span
    self_discharge_a: Span
    refresh_days: Span
    limit_days: Span
    limit_frac: float
    leave_at_frac: float
    refresh_at_frac: float
    look_every_days: float
    freezes_now_c: float | None
    freezes_then_c: float | None


@dataclass(frozen=True, slots=True)
class ParkingPlan:
    """Both batteries, what to do before leaving, and what is not known yet."""

    temperature_c: float
    weeks: float
    batteries: tuple[ParkedBattery, ...]
    todo: tuple[str, ...]
    unknown: tuple[str, ...]


def check(weeks: float, temperature_c: float) -> None:
    """Whether a stay can be. Raises ValueError in one sentence."""
    for what, value, (low, high), unit in (("stay", weeks, WEEKS_LIMITS, "weeks"),
                                           ("temperature", temperature_c, TEMPERATURE_LIMITS_C, "°C")):
        if not isfinite(value) or not low <= value <= high:
            raise ValueError(f"{what} is {value:g} {unit}: it must lie between {low:g} and {high:g}"
                             + (" (no inhabited place is colder or warmer for long)" if unit == "°C"
                                else " (longer, and nobody comes back to the batteries)"))


def make_plan(vehicle: Vehicle, starter_charge: Answer, starter_drain_a: Answer, house_charge: Answer, house_capacity_ah: Answer,
              base_a: Answer, harvest_ah_per_day: Answer, weeks: float, temperature_c: float) -> ParkingPlan:
    """What to expect and to do when the vehicle is left standing.

    vehicle : its labels
    starter_charge, starter_drain_a : the starter battery's charge (0 to 1), and what leaves it, by itself included [A]
    house_charge, house_capacity_ah : likewise of the house battery [Ah]
    base_a : the house loads that never go off [A]; harvest_ah_per_day : what the sun brings on a usual day [Ah]
    weeks : how long it will stand; temperature_c : the mean there [°C]

    Raises
    ------
    ValueError : an absurd stay
    """
    check(weeks, temperature_c)
    found, unknown = [], []
    if isinstance(starter_charge, Estimate) and isinstance(starter_drain_a, Estimate):
        found.append(plan_starter(vehicle.starter, starter_charge, starter_drain_a, temperature_c))
    else:
        why = next(a.because for a in (starter_charge, starter_drain_a) if not isinstance(a, Estimate))
        unknown.append(f"How long the starter battery lasts is not known yet, because {why}.")
    if isinstance(house_charge, Estimate):
        capacity = house_capacity_ah.value if isinstance(house_capacity_ah, Estimate) else vehicle.house.rated_capacity_ah
        drain = base_a if isinstance(base_a, Estimate) else Estimate(0.0, 0.0, 0.0, "first guess")
        found.append(plan_house(vehicle.house, house_charge, capacity, drain, temperature_c))
        if not isinstance(base_a, Estimate):
            unknown.append(f"What the house loads always draw is not known yet, because {base_a.because}; only the battery's own loss "
                           f"is counted.")
    else:
        unknown.append(f"How long the house battery lasts is not known yet, because {house_charge.because}.")
    return ParkingPlan(temperature_c, weeks, tuple(found), _todo(vehicle, found, harvest_ah_per_day, weeks, temperature_c), tuple(unknown))


def start_limit_frac(battery: Battery) -> float:
    """Charge at which a start becomes doubtful: where it rests at the voltage of the alert, 12.2 V; half for lithium."""
    if not battery.lead_acid:
        return 0.5
    kind = KINDS[battery.chemistry]
    return min(max(1 - (kind.full_v - DOUBTFUL_V) / kind.span_v, 0.1), 0.7)


def plan_starter(battery: Battery, charge: Estimate, drain: Estimate, temperature_c: float) -> ParkedBattery:
    """The starter battery: its measured drain holds its own loss already, which is taken apart here by the tables.

    charge: charge left, 0 to 1; temperature_c: where the battery stands [°C]; battery: its label; drain: what draws while parked
    [A].
    """
    own = _own_a(battery, battery.rated_capacity_ah, temperature_c)
    loads = Span(max(drain.low - own.high, 0.0), max(drain.high - own.low, 0.0))
    total = Span(max(drain.low, own.low), max(drain.high, own.low), max(drain.value, own.low))
    return _battery(battery, charge, battery.rated_capacity_ah, loads, own, total, start_limit_frac(battery))


def plan_house(battery: Battery, charge: Estimate, capacity_ah: float, drain: Estimate, temperature_c: float) -> ParkedBattery:
    """The house battery without sun: the loads that never go off, and its own loss.

    charge: charge left, 0 to 1; capacity_ah: what it gives at its rated rate [Ah]; drain: what draws while parked; temperature_c:
    where the battery stands [°C]; battery: its label.
    """
    own = _own_a(battery, capacity_ah, temperature_c)
    loads = Span(max(drain.low, 0.0), max(drain.high, 0.0))
    total = Span(loads.low + own.low, loads.high + own.high, max(drain.value, 0.0) + (own.low + own.high) / 2)
    return _battery(battery, charge, capacity_ah, loads, own, total, battery.reserve_soc_frac)


def _own_a(battery: Battery, capacity_ah: float, temperature_c: float) -> Span:
    low, high = storage.self_discharge_per_day(battery.chemistry, temperature_c)
    return Span(low * capacity_ah / 24, high * capacity_ah / 24)


def _battery(battery: Battery, charge: Estimate, capacity_ah: float, loads: Span, own: Span, total: Span,
             limit_frac: float) -> ParkedBattery:
    refresh = storage.refresh_at_frac(battery.chemistry)
    now = Span(max(charge.low, 0.0), min(charge.high, 1.0), min(max(charge.value, 0.0), 1.0))
    frozen_now = frozen_then = None
    if battery.lead_acid:
        frozen_now, frozen_then = (
            frost.freezing_point_c(frost.density_of_kg_l(battery, frac)) for frac in (now.low, limit_frac))
    return ParkedBattery(
        battery.name, battery.chemistry, now, capacity_ah, loads, own, _days(now, refresh, capacity_ah, total),
        _days(now, limit_frac, capacity_ah, total), limit_frac, storage.leave_at_frac(battery.chemistry), refresh,
        storage.look_every_days(battery.chemistry), frozen_now, frozen_then)


def _days(charge: Span, down_to_frac: float, capacity_ah: float, drain_a: Span) -> Span:
    """Days until a charge is reached: soonest from the lowest charge at the highest drain."""
    def days(frac: float, amperes: float) -> float:
        left_ah = max(frac - down_to_frac, 0.0) * capacity_ah
        return left_ah / amperes / 24 if amperes > 0 else (inf if left_ah > 0 else 0.0)

    likely = None if charge.likely is None or drain_a.likely is None else days(charge.likely, drain_a.likely)
    return Span(days(charge.low, drain_a.high), days(charge.high, drain_a.low), likely)


def _todo(vehicle: Vehicle, found: list[ParkedBattery], harvest: Answer, weeks: float, temperature_c: float) -> tuple[str, ...]:
    """What to do before leaving, the most useful first."""
    todo: list[str] = []
    days = 7 * weeks
    for b in found:
        if b.name == "starter":
            if b.limit_days.low < days:
                todo.append("Take the starter battery's negative lead off, or put a charger on it: otherwise a start may be doubtful "
                            "before you are back. Radio codes, alarm and immobiliser: see the vehicle's handbook first.")
            if b.drain_a.low > EXCESSIVE_A:
                todo.append(f"Look for what draws {1000 * b.drain_a.low:.0f} mA or more from the starter battery: fuse by fuse, with a "
                            f"meter in the negative lead.")
            if b.charge_frac.low < b.refresh_at_frac:
                todo.append("Charge the starter battery fully before you leave it.")
    todo += _house_todo(vehicle, [b for b in found if b.name == "house"], harvest, days)
    if any(b.freezes_then_c is not None and b.freezes_then_c > temperature_c - 10 for b in found):
        todo.append("Frost: a full lead-acid battery does not freeze, a flat one does at a few degrees below zero. Keep it charged, or "
                    "take it indoors.")
    todo.append("This board draws 2 to 4 W itself. Switched off, it draws and records nothing; what the starter battery lost it can "
                "still tell when you are back.")
    todo.append("Both batteries: posts clean and covered, isolator seen open, nothing charging unattended that is not made for it.")
    return tuple(todo)


def _house_todo(vehicle: Vehicle, house: list[ParkedBattery], harvest: Answer, days: float) -> list[str]:
    todo = []
    for b in house:
        loads_ah = 24 * b.drain_a.high
        sun = harvest.value if isinstance(harvest, Estimate) else 0.0
        if b.drain_a.high > 0.01 and b.limit_days.low < days:
            todo.append(f"Switch the house loads off at the main switch: what never goes off draws up to {b.drain_a.high:.2f} A, "
                        f"{loads_ah:.1f} Ah a day.")
        if vehicle.house.lead_acid:
            todo.append("Leave the solar charger on: it keeps lead-acid full, as it should be left." if sun > loads_ah else
                        f"Charge the house battery fully, and again every {b.look_every_days:.0f} days at the latest.")
        else:
            todo.append("Leave lithium at about half, not full: solar and shore charger off (or set to hold no more than about 13.3 V), "
                        "loads off, cool place.")
            todo.append("Below freezing it must not be charged unless its own protection prevents that.")
    return todo
