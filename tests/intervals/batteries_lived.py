"""Batteries that live by plain rules of practice, which the product does not use, and what is forecast from their first weeks.

Lead-acid here loses a fifth of its capacity to cycles by Miner's rule and to time on charge by the rule of ten kelvin:

* cycles: a data sheet's curve of cycles by depth, a power of 1.0 to 1.3 (common practice: sheets of leisure batteries lie there), each
  night one cycle of its depth; the sheet promises cycles at full depth, a battery gives that within 25 % (one sigma of ln);
* time: float years at 20 °C, half of them for every 8 to 11 K more (IEEE 1188 and others, from memory), within 20 %.

Damages add. Nobody's battery is full every day: each is full every one to three days, which this rule leaves out; lives that stand
part-charged for weeks are beyond it, and beyond this check. Lithium iron phosphate: cycles at full depth of its sheet (2,500 to 4,500),
and 10 to 18 years at 25 °C, half for every 9 to 12 K; its curve by depth is flat (power 1.0 to 1.1).
"""
from dataclasses import dataclass
from functools import cache
from math import exp, pi, sin
from random import Random

from monitor.battery.label import Battery
from monitor.wear.life import forecast_life
from monitor.wear.life_use import LifeLabel, UseSlot, label_of
from tests.intervals.tally import Tally

SEED, BATTERIES, WEEKS = 1708, 60, 52


@dataclass(frozen=True)
class Owner:
    """How a battery is used, the sheet it came with, and the years after which it holds four fifths."""

    slots: list[UseSlot]
    label: LifeLabel
    years: float


def _owner(r: Random) -> Owner:
    chemistry = r.choice(("flooded", "agm", "gel", "lfp"))
    lead = chemistry != "lfp"
    depth, full_every, warm_c = r.uniform(0.1, 0.5), r.choice((1, 1, 2, 3)), r.uniform(10.0, 22.0)
    cycles, floats = (r.uniform(150.0, 450.0), r.uniform(5.0, 10.0)) if lead else (r.uniform(2500.0, 4500.0), r.uniform(10.0, 18.0))
    slots, charge, damage, swing_k = [], 1.0, 0.0, r.uniform(4.0, 9.0)
    power = r.uniform(1.0, 1.3 if lead else 1.1)
    doubles_k, base_c = (r.uniform(8.0, 11.0), 20.0) if lead else (r.uniform(9.0, 12.0), 25.0)
    mine, my_years = cycles * exp(r.gauss(0, 0.25)), floats * exp(r.gauss(0, 0.2))
    for day in range(7 * WEEKS):
        air_c = warm_c - swing_k * 1.5 * sin(2 * pi * (day + 100) / 365.0)
        used = depth * r.uniform(0.6, 1.4)
        for hour in range(24):
            warm = air_c + swing_k / 2 * sin(2 * pi * (hour - 9) / 24)
            damage += 2.0 ** ((warm - base_c) / doubles_k) / (my_years * 8766.0)
            if 9 <= hour < 15:
                target = 1.0 if day % full_every == full_every - 1 else 0.94
                up = max(target - charge, 0.0) / (15 - hour)
                charge += up
                slots.append(UseSlot(1.0, charge, 1.04 * up * 100.0, 0.0, warm))
            else:
                down = min(used / 18, max(charge - 0.1, 0.0))
                charge -= down
                slots.append(UseSlot(1.0, charge, 0.0, down * 100.0, warm))
        damage += used ** power / mine
    label = label_of(Battery("house", chemistry, 100.0), cycles, floats if lead else None)
    return Owner(slots, label, WEEKS * 7 / 365.25 / damage)


@cache
def years_left() -> dict[str, Tally]:
    """Years until four fifths, of a new battery from one year of its use, in shares of the truth: lead-acid and lithium."""
    seen, r = {"lead": Tally(), "lithium": Tally()}, Random(SEED)
    for _ in range(BATTERIES):
        one = _owner(r)
        if one.years < 20.0:      # no more is ever promised
            seen["lithium" if one.label.chemistry == "lfp" else "lead"].add(
                one.years, forecast_life(one.slots, one.label, 0.8, causes=False).years, one.years)
    return seen
