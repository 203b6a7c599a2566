"""When a falling rest voltage is called a drain: slow, fast and sudden ones, each with its own patience."""
from math import exp, hypot, sqrt
from typing import ClassVar

from monitor.battery.label import Battery
from monitor.battery.lead_acid import KINDS
from monitor.detection.starter import drain
from monitor.detection.starter.drain import Search
from monitor.detection.starter.surface_decay import DECAY_H, SURFACE, Decay, fall_v_per_day
from monitor.findings import Z95
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/starter", "drain_verdict")
QUARTER_S = P.number("quarter_s")
SCORE, IN_A_ROW, LEAST_A = P.number("score"), P.count("in_a_row"), P.number("least_a")
BLIND_TIMES = P.number("blind_times")
BETTER_THAN_USE = P.number("better_than_use")
STILL_FRAC, STILL = P.number("still_frac"), P.numbers("still")
SETTLED_H, FROM_START_H = P.number("settled_h"), P.number("from_start_h")
YOUNGEST_S = P.number("youngest_s")
FAST_QUARTERS = P.count("fast_quarters")
FAST_BLOCK = P.count("fast_block")
FAST_V = P.number("fast_v")
FAST_AFTER_H = P.number("fast_after_h")
FAST_TIMES = P.number("fast_times")
FAST_EVEN_FRAC = P.number("fast_even_frac")
SUDDEN_V, SUDDEN_MINUTES = P.number("sudden_v"), P.count("sudden_minutes")
OVER_FRAC, OVER_SOON_V_PER_DAY = P.number("over_frac"), P.number("over_soon_v_per_day")
FAST_SIGMA_LN = P.number("fast_sigma_ln")
_IN_USE = table("battery", "starter_battery")
OVER_H, OVER_SOON_H = P.number("over_h"), P.number("over_soon_h")
FAST_HOURS_PART = P.number("fast_hours_part")
HOLDS_FRAC, HOLDS_SIGMA_LN = _IN_USE.number("holds_frac"), _IN_USE.number("holds_sigma_ln")


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
    usual_v_per_day: float = 0.0    # that part, as of when it was found: afterwards the filter takes some of the drain for it

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"usual_v_per_day"})


@dataclass(frozen=True, slots=True)
class Rest:
    """One quarter-hour of the parking: its median, the same without warmth, and how fast it should fall."""

    at_s: float
    voltage_v: float
    plain_v: float
    expected_v_per_h: float


def amperes(volts_per_day: float, battery: Battery) -> float:
    """Current that makes a rested battery fall so fast, by label and table."""
    kind = KINDS.get(battery.chemistry, KINDS["agm"])
    return volts_per_day * battery.rated_capacity_ah / kind.span_v / 24


def held_amperes(volts_per_day: float, battery: Battery) -> float:
    """The same for a battery in use, which holds less than its label."""
    return HOLDS_FRAC * amperes(volts_per_day, battery)


def scale_sigma_ln(battery: Battery) -> float:
    """One sigma of ln of what a label and a table make of a fall: the span of the rest curve and what the battery still holds."""
    return hypot(KINDS.get(battery.chemistry, KINDS["agm"]).span_sigma_ln, HOLDS_SIGMA_LN)


def _size(fall_v_per_day: float, relative_sigma: float, battery: Battery) -> tuple[float, float, float]:
    """Amperes of a fall, with their 95 % interval: doubt of the fall (a share of it) and of the scale are independent."""
    value, spread = held_amperes(fall_v_per_day, battery), Z95 * hypot(relative_sigma, scale_sigma_ln(battery))
    return value, value * exp(-spread), value * exp(spread)


def expected_v_per_h(state: Decay) -> float:
    """How fast the voltage is expected to fall now by surface charge and usual draw [V/h], positive down."""
    surface = sum(state.state[SURFACE + i] / tau for i, tau in enumerate(DECAY_H))
    return max(surface, 0.0) + max(fall_v_per_day(state)[0], 0.0) / 24


def find_slow(search: Search, state: Decay, rests: tuple[Rest, ...], battery: Battery) -> tuple[Drain | None, bool]:
    """The best slow explanation with its size, and whether it passes at this step.

    search: candidate moments so far; state: the filter of the parking; rests: quarter hours of the parking;
    battery: its label.
    """
    age_h = (state.at_s - state.begun_s) / 3600
    best = drain.best(search, state, YOUNGEST_S)
    if best is None or age_h < SETTLED_H:
        return None, False
    unrest = sqrt(state.unrest)
    score = SCORE * unrest * (BLIND_TIMES if state.blind else 1.0)
    extra, sigma = best.fall_v_per_day, best.sigma * unrest
    passes = (
        best.score > score and best.score**2 > best.drop_score**2 + BETTER_THAN_USE
        and amperes(extra - Z95 * sigma, battery) > LEAST_A and _still_falls(extra, rests)
        and not (best.at_s - state.begun_s < 3600 and age_h < FROM_START_H)
    )
    if not passes:
        return None, False
    usual = fall_v_per_day(state)[0]
    return Drain("slow", state.at_s, best.at_s, *_size(extra, sigma / extra, battery), extra + usual, usual), True


def follow(found: Drain, likely: Drain) -> Drain:
    """A drain that was found, sized anew by what has been seen since."""
    extra = likely.fall_v_per_day - likely.usual_v_per_day
    return replace(likely, how=found.how, found_s=found.found_s, since_s=likely.since_s if found.how == "slow" else found.since_s,
                   fall_v_per_day=extra + found.usual_v_per_day, usual_v_per_day=found.usual_v_per_day)


def _still_falls(extra: float, rests: tuple[Rest, ...]) -> bool:
    """Whether the voltage, warmth taken off, goes on falling at a fair share of the drain's rate."""
    for least, quarters in STILL:
        if extra > least and len(rests) > quarters + 1:
            before = (rests[-1 - quarters].plain_v + rests[-quarters].plain_v) / 2
            now = (rests[-1].plain_v + rests[-2].plain_v) / 2
            if 86400 / QUARTER_S * (before - now) / quarters < STILL_FRAC * extra:
                return False
    return True


def find_fast(rests: tuple[Rest, ...], begun_s: float, battery: Battery) -> Drain | None:
    """A steady fall over two and a half hours, much faster than surface charge decays and not slowing down.

    Half-hour by half-hour, so that an hour or so of radio or work light is not taken for one.
    rests: quarter hours of the parking; begun_s: when the parking began [s]; battery: its label.
    """
    if len(rests) <= FAST_QUARTERS:
        return None
    part = rests[-FAST_QUARTERS - 1:]
    first, last = part[0], part[-1]
    hours = (last.at_s - first.at_s) / 3600
    if hours > FAST_HOURS_PART * FAST_QUARTERS / 4 or last.at_s - begun_s < FAST_AFTER_H * 3600:
        return None
    blocks = FAST_QUARTERS // FAST_BLOCK
    expected = FAST_TIMES * first.expected_v_per_h * hours
    total = first.plain_v - last.plain_v - expected
    if total < FAST_V:
        return None
    for i in range(blocks):
        fell = part[i * FAST_BLOCK].plain_v - part[(i + 1) * FAST_BLOCK].plain_v - expected / blocks
        if fell < FAST_EVEN_FRAC * total / blocks:
            return None
    # The first half-hour holds the drop at once by resistance as well: the rate is that of the rest.
    rate = 24 * (part[FAST_BLOCK].plain_v - last.plain_v) / (hours * (1 - 1 / blocks))
    usual = 24 * first.expected_v_per_h
    return Drain("fast", last.at_s, first.at_s, *_size(max(rate - usual, 0.0), FAST_SIGMA_LN, battery), rate)


def quarters(hours: float) -> int:
    """How many quarter-hours that is."""
    return round(hours * 3600 / QUARTER_S)


def is_over(found: Drain, rests: tuple[Rest, ...]) -> bool:
    """Whether the voltage has stopped falling as it did: a fifth of its rate, over six hours or a day."""
    count = quarters(OVER_SOON_H if found.fall_v_per_day > OVER_SOON_V_PER_DAY else OVER_H)
    if found.how == "sudden" or len(rests) <= count:
        return False
    first, last = rests[-1 - count], rests[-1]
    days = (last.at_s - first.at_s) / 86400
    return first.at_s > found.found_s and (first.plain_v - last.plain_v) / days < OVER_FRAC * found.fall_v_per_day
