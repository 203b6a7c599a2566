"""When a falling rest voltage is called a drain: slow, fast and sudden ones, each with its own patience."""
from dataclasses import dataclass
from math import sqrt

from monitor.battery import Battery
from monitor.chemistry.lead_acid import KINDS
from monitor.trackers import drain
from monitor.trackers.drain import Search
from monitor.trackers.surface_decay import DECAY_H, SURFACE, Decay, fall_v_per_day

QUARTER_S = 900.0
#: Slow: so many sigmas, so many quarter-hours in a row, and at least this much current [A] by its lower bound.
SCORE, IN_A_ROW, LEAST_A = 4.5, 6, 0.022
#: No slow verdict before the surface charge has had its hours; longer for one from the very start [h].
SETTLED_H, FROM_START_H = 6.0, 20.0
YOUNGEST_S = 7200.0
#: Fast: over so many quarter-hours, steadily, at least so much [V] beyond what surface charge explains.
FAST_QUARTERS, FAST_V, FAST_AFTER_H = 9, 0.03, 3.0
#: Sudden: so much lower within minutes [V], for so many minutes.
SUDDEN_V, SUDDEN_MINUTES = 1.0, 4
#: How well a label and a table turn volts into ampere-hours (95 %).
SCALE_LOW, SCALE_HIGH = 0.7, 1.35


@dataclass(frozen=True, slots=True)
class Drain:
    """A drain that was found. Amperes on top of what this vehicle usually draws."""

    how: str                 # slow, fast or sudden
    found_s: float
    since_s: float
    extra_a: float
    low_a: float
    high_a: float
    fall_v_per_day: float    # all of it, the usual part included


@dataclass(frozen=True, slots=True)
class Rest:
    """One quarter-hour of the parking: its median, and how fast surface charge should fall then."""

    at_s: float
    voltage_v: float
    expected_v_per_h: float


def amperes(volts_per_day: float, battery: Battery) -> float:
    """Current that makes a rested battery fall so fast, by label and table."""
    kind = KINDS.get(battery.chemistry, KINDS["agm"])
    return volts_per_day * battery.rated_capacity_ah / kind.span_v / 24


def expected_v_per_h(held: Decay) -> float:
    """How fast the voltage is expected to fall now by surface charge and usual draw [V/h], positive down."""
    surface = sum(held.state[SURFACE + i] / tau for i, tau in enumerate(DECAY_H))
    return max(surface, 0.0) + max(fall_v_per_day(held)[0], 0.0) / 24


def slow(search: Search, held: Decay, battery: Battery) -> tuple[Drain | None, bool]:
    """The best slow explanation with its size, and whether it passes at this step."""
    age_h = (held.at_s - held.begun_s) / 3600
    onset = drain.best(search, held, YOUNGEST_S)
    if onset is None or onset.weight <= 0 or age_h < SETTLED_H:
        return None, False
    sigma = sqrt(held.unrest / onset.weight)
    extra = onset.fall_v_per_day
    fall = fall_v_per_day(held)[0]
    found = Drain(
        "slow", held.at_s, onset.at_s, amperes(extra, battery), amperes(extra - 1.96 * sigma, battery) * SCALE_LOW,
        amperes(extra + 1.96 * sigma, battery) * SCALE_HIGH, extra + fall,
    )
    passes = onset.score > SCORE * sqrt(held.unrest) and amperes(extra - 1.96 * sigma, battery) > LEAST_A
    if onset.at_s - held.begun_s < 3600 and age_h < FROM_START_H:
        passes = False
    return found, passes


def fast(rests: tuple[Rest, ...], begun_s: float, battery: Battery) -> Drain | None:
    """A steady fall over two hours, much faster than surface charge decays and not slowing down."""
    if len(rests) <= FAST_QUARTERS:
        return None
    part = rests[-FAST_QUARTERS - 1:]
    first, last = part[0], part[-1]
    hours = (last.at_s - first.at_s) / 3600
    if hours > 1.4 * FAST_QUARTERS / 4 or first.at_s - begun_s < (FAST_AFTER_H - 1) * 3600:
        return None
    third = FAST_QUARTERS // 3
    expected = 1.5 * first.expected_v_per_h * hours
    total = first.voltage_v - last.voltage_v - expected
    if total < FAST_V:
        return None
    for i in range(3):
        fell = part[i * third].voltage_v - part[(i + 1) * third].voltage_v - expected / 3
        if fell < 0.2 * total:
            return None
    rate = 24 * total / hours
    extra = amperes(rate, battery)
    return Drain("fast", last.at_s, first.at_s, extra, extra * SCALE_LOW * 0.8, extra * SCALE_HIGH * 1.2,
                 rate + 24 * first.expected_v_per_h)


def over(found: Drain, rests: tuple[Rest, ...]) -> bool:
    """Whether the voltage has stopped falling as it did: over the last six hours less than a fifth of it."""
    if len(rests) < 24 or found.how == "sudden":
        return False
    first, last = rests[-24], rests[-1]
    days = (last.at_s - first.at_s) / 86400
    return first.at_s > found.found_s and (first.voltage_v - last.voltage_v) / days < 0.2 * found.fall_v_per_day - 0.01
