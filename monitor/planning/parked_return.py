"""Back at the vehicle: how long it stood, and what of the missing charge was drain and what the batteries' own loss."""
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, hypot

from monitor.battery.label import Battery, Vehicle
from monitor.battery.lead_acid import KINDS, warmth_v
from monitor.findings import Z95
from monitor.parameters import table
from monitor.planning import storage
from monitor.planning.parked import Span

HOUR_S = 3600.0
P = table("planning", "parked_return")
SHORTEST_H, RUNNING_FRAC, FALL_SIGMA_V = P.number("shortest_h"), P.number("running_frac"), P.number("fall_sigma_v")
SETTLED_H, MEAN_H, MILD_C = P.count("settled_h"), P.count("mean_h"), P.number("mild_c")
_STARTER = table("battery", "starter_battery")
HOLDS_FRAC, HOLDS_SIGMA_LN = _STARTER.number("holds_frac"), _STARTER.number("holds_sigma_ln")
CHARGED_V = table("battery", "alternator").number("charging_v")


@dataclass(frozen=True, slots=True)
class Hour:
    """One hour of the log; None where it was not measured."""

    start_utc_s: float
    end_utc_s: float
    engine_running_frac: float | None = None
    starter_voltage_v: float | None = None
    temperature_c: float | None = None
    charge_in_ah: float | None = None
    charge_out_ah: float | None = None
    charge_frac: float | None = None


@dataclass(frozen=True, slots=True)
class Loss:
    """Where a battery's charge went while the vehicle stood.

    lost_ah : altogether, as (low, high) [Ah]; own_ah : by itself, by the tables [Ah]; drain_a : by loads [A]
    received_ah : what came in meanwhile [Ah]; note : what limits the answer
    """

    name: str
    lost_ah: Span
    own_ah: Span
    drain_a: Span
    received_ah: float = 0.0
    note: str = ""


@dataclass(frozen=True, slots=True)
class Stay:
    """The latest parking: when, the mean temperature, each battery's loss."""

    from_utc_s: float
    to_utc_s: float
    temperature_c: float
    losses: tuple[Loss, ...]


def hours_of(rows: Iterable[tuple[float, float, Mapping[str, float | None]]]) -> list[Hour]:
    """Hours from rows of the log: (UTC start, UTC end, values)."""
    return [Hour(start, end, v.get("engine_running_frac"), v.get("starter_voltage_v"), v.get("house_temperature_c"), v.get("charge_in_ah"),
                 v.get("charge_out_ah"), v.get("charge_frac")) for start, end, v in rows]


def latest_stay(hours: Iterable[Hour], vehicle: Vehicle) -> Stay | None:
    """The latest parking of three days or more, or None where there was none.

    hours : of the log, oldest first; vehicle : its labels
    """
    stretch: list[Hour] = []
    found: list[Hour] = []
    for hour in hours:
        if (hour.engine_running_frac or 0.0) > RUNNING_FRAC:
            found = stretch if _long(stretch) else found
            stretch = []
        else:
            stretch.append(hour)
    found = stretch if _long(stretch) else found
    if not found:
        return None
    warm = [h.temperature_c for h in found if h.temperature_c is not None]
    temperature_c = sum(warm) / len(warm) if warm else MILD_C
    losses = [loss for loss in (_starter(found, vehicle.starter, temperature_c),
                                _house(found, vehicle.house, temperature_c)) if loss is not None]
    return Stay(found[0].start_utc_s, found[-1].end_utc_s, temperature_c, tuple(losses))


def _long(stretch: Sequence[Hour]) -> bool:
    return bool(stretch) and stretch[-1].end_utc_s - stretch[0].start_utc_s >= SHORTEST_H * HOUR_S


def _starter(hours: Sequence[Hour], battery: Battery, temperature_c: float) -> Loss | None:
    """By the fall of its rest voltage from the second day on; what the tables do not explain is drain."""
    volts = [h for h in hours[SETTLED_H:] if h.starter_voltage_v is not None]
    if not battery.lead_acid or len(volts) < 2 * MEAN_H:
        return None
    days = (hours[-1].end_utc_s - hours[0].start_utc_s) / 86400
    own = _own_ah(battery, battery.rated_capacity_ah, temperature_c, days)
    if any((h.starter_voltage_v or 0.0) > CHARGED_V for h in volts):
        return Loss("starter", Span(0.0, 0.0), own, Span(0.0, 0.0), note="something charged it meanwhile, so its drain is not known")
    first, last = volts[:MEAN_H], volts[-MEAN_H:]
    fall_v = _mean_v(first) - _mean_v(last)
    seen_days = (last[-1].end_utc_s - first[0].start_utc_s) / 86400
    per_volt = battery.rated_capacity_ah / KINDS[battery.chemistry].span_v
    spread = Z95 * hypot(KINDS[battery.chemistry].span_sigma_ln, HOLDS_SIGMA_LN)
    low = max(fall_v - Z95 * FALL_SIGMA_V, 0.0) * per_volt * HOLDS_FRAC * exp(-spread) * days / seen_days
    high = max(fall_v + Z95 * FALL_SIGMA_V, 0.0) * per_volt * HOLDS_FRAC * exp(spread) * days / seen_days
    drain = Span(max(low - own.high, 0.0) / days / 24, max(high - own.low, 0.0) / days / 24)
    return Loss("starter", Span(low, high), own, drain)


def _mean_v(hours: Sequence[Hour]) -> float:
    """Mean rest voltage, brought to 25 °C."""
    return sum((h.starter_voltage_v or 0.0) - (0.0 if h.temperature_c is None else warmth_v(h.temperature_c))
               for h in hours) / len(hours)


def _house(hours: Sequence[Hour], battery: Battery, temperature_c: float) -> Loss | None:
    """Its drain is counted by the shunt; its own loss is by the tables."""
    out = [h.charge_out_ah for h in hours if h.charge_out_ah is not None]
    if len(out) < SHORTEST_H / 2:
        return None
    days = (hours[-1].end_utc_s - hours[0].start_utc_s) / 86400
    own = _own_ah(battery, battery.rated_capacity_ah, temperature_c, days)
    covered_h = len(out) * (hours[0].end_utc_s - hours[0].start_utc_s) / HOUR_S
    mean_a = sum(out) / covered_h
    received = sum(h.charge_in_ah or 0.0 for h in hours)
    spent = sum(out)
    note = "" if covered_h > 0.95 * 24 * days else f"{24 * days - covered_h:.0f} hours of it were not measured"
    return Loss("house", Span(spent + own.low, spent + own.high), own, Span(mean_a, mean_a), received, note)


def _own_ah(battery: Battery, capacity_ah: float, temperature_c: float, days: float) -> Span:
    low, high = storage.self_discharge_per_day(battery.chemistry, temperature_c)
    return Span(low * capacity_ah * days, high * capacity_ah * days)


def recent_c(hours: Iterable[Hour], from_utc_s: float) -> float:
    """Mean temperature of the house battery since a moment [°C]; a mild one where none was measured."""
    warm = [h.temperature_c for h in hours if h.temperature_c is not None and h.end_utc_s >= from_utc_s]
    return sum(warm) / len(warm) if warm else MILD_C
