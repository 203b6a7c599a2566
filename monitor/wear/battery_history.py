"""The batteries of a vehicle one after another: what the owner said of each, and what the log saw of it."""
from dataclasses import dataclass, replace
from math import inf
from typing import Literal

from monitor.battery.label import Battery, Vehicle
from monitor.parameters import table
from monitor.wear.week import Week

Which = Literal["house", "starter"]
P = table("wear", "battery_history")
LONGEST_LABEL, END_WEEKS = P.count("longest_label"), P.count("end_weeks")


@dataclass(frozen=True, slots=True)
class BatteryService:
    """One battery in its place. Moments are UTC seconds; None: not told, or still going on."""

    battery: Which
    label: str                          # what the owner calls it, "" where not told
    chemistry: str
    rated_capacity_ah: float
    installed_utc_s: float | None = None
    replaced_utc_s: float | None = None


@dataclass(frozen=True, slots=True)
class BatteryHistory:
    """All lives that were told of, oldest first; the last of each place is the present battery."""

    lives: tuple[BatteryService, ...] = ()

    def of(self, battery: Which, vehicle: Vehicle) -> tuple[BatteryService, ...]:
        """The lives in one place; the present one follows the vehicle's labels."""
        plate: Battery = getattr(vehicle, battery)
        found = tuple(life for life in self.lives if life.battery == battery)
        if not found or found[-1].replaced_utc_s is not None:
            begun = found[-1].replaced_utc_s if found else None
            return (*found, BatteryService(battery, "", plate.chemistry, plate.rated_capacity_ah, begun))
        now = replace(found[-1], chemistry=plate.chemistry, rated_capacity_ah=plate.rated_capacity_ah)
        return (*found[:-1], now)


def describe_battery(lives: BatteryHistory, battery: Which, vehicle: Vehicle, label: str | None = None,
              installed_utc_s: float | None = None) -> BatteryHistory:
    """With a label, a day of installation, or both, for the present battery.

    lives: the batteries so far; vehicle: what its owner said of it; installed_utc_s: when it was put in, UTC [s]; battery: house or
    starter; label: what the owner calls it, None: as before.

    Raises
    ------
    ValueError : a label that is empty or too long, or a day before that of the battery before it
    """
    mine = lives.of(battery, vehicle)
    now = mine[-1]
    if label is not None:
        now = replace(now, label=check_label(label))
    if installed_utc_s is not None:
        before = mine[-2].replaced_utc_s if len(mine) > 1 else None
        if before is not None and installed_utc_s < before - 86400:
            raise ValueError("the battery before it was still there on that day")
        now = replace(now, installed_utc_s=installed_utc_s)
    return BatteryHistory((*_others(lives, battery), *mine[:-1], now))


def replace_battery(lives: BatteryHistory, battery: Which, before: Vehicle, after: Vehicle, at_utc_s: float,
                    label: str = "") -> BatteryHistory:
    """With the present battery's life ended and a new one begun.

    before and after are the vehicle with the old and with the new label.

    lives: the batteries so far; at_utc_s: when, UTC [s]; battery: house or starter; before, after: the vehicle with the old and
    with the new label; label: what the owner calls the new one.

    Raises
    ------
    ValueError : a moment before the old battery was installed, or a label too long
    """
    mine = lives.of(battery, before)
    old = mine[-1]
    if old.installed_utc_s is not None and at_utc_s <= old.installed_utc_s + 60:
        raise ValueError("the battery there now was installed later than that")
    plate: Battery = getattr(after, battery)
    new = BatteryService(battery, check_label(label) if label else "", plate.chemistry, plate.rated_capacity_ah, at_utc_s)
    return BatteryHistory((*_others(lives, battery), *mine[:-1], replace(old, replaced_utc_s=at_utc_s), new))


def check_label(label: str) -> str:
    """The label without stray blanks. Raises ValueError where it is empty, too long, or not one printable line."""
    text = " ".join(label.split())
    if not text or len(text) > LONGEST_LABEL or not text.isprintable():
        raise ValueError(f"a label is one line of 1 to {LONGEST_LABEL} printable characters")
    return text


def _others(lives: BatteryHistory, battery: Which) -> tuple[BatteryService, ...]:
    return tuple(life for life in lives.lives if life.battery != battery)


@dataclass(frozen=True, slots=True)
class Comparison:
    """What the log saw of one house battery. None: not to be had."""

    life: BatteryService
    weeks: int
    first_capacity_ah: float | None
    last_capacity_ah: float | None
    first_resistance_ohm: float | None
    last_resistance_ohm: float | None
    charge_out_ah: float
    full_cycles_count: float
    lowest_frac: float | None
    weeks_with_full_frac: float | None
    warmest_week_c: float | None


def compare_services(lives: tuple[BatteryService, ...], weeks: list[tuple[float, Week]]) -> tuple[Comparison, ...]:
    """Each house battery with the weeks that ended in its time; weeks are (UTC of the end, record), oldest first."""
    found = []
    for life in lives:
        begin, end = life.installed_utc_s or 0.0, life.replaced_utc_s or inf
        mine = [week for at_utc_s, week in weeks if begin < at_utc_s <= end]
        sizes = [w.capacity_ah for w in mine if w.capacity_ah is not None]
        ohms = [w.resistance_ohm for w in mine if w.resistance_ohm is not None]
        out = sum(w.charge_out_ah for w in mine)
        found.append(Comparison(
            life, len(mine), _mean(sizes[:END_WEEKS]), _mean(sizes[-END_WEEKS:]), _mean(ohms[:END_WEEKS]), _mean(ohms[-END_WEEKS:]),
            out, out / life.rated_capacity_ah, min((w.lowest_frac for w in mine), default=None),
            sum(w.fulls > 0 for w in mine) / len(mine) if mine else None,
            max((w.temperature_c for w in mine if w.temperature_c is not None), default=None)))
    return tuple(found)


def _mean(values: list[float]) -> float | None:
    return sum(values) / len(values) if values else None
