"""How long a battery will live: years until it holds too little, with a range, and what shortens it most.

Lead-acid by weighted ampere-hours with corrosion (lead_acid_life.py), lithium iron phosphate by time and use (lithium_life.py).
What is not known of the battery is drawn, and where a log has measured the capacity, the draws that agree with it count more.
"""
from collections.abc import Callable, Sequence
from math import exp, hypot, log, sqrt
from random import Random

from monitor.battery.limits import USED_UP_FRAC
from monitor.findings import Answer, Estimate, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.wear import lead_acid_life, lithium_life
from monitor.wear.lead_acid_life import Easier, LeadWear
from monitor.wear.life_use import LifeLabel, UseSlot
from monitor.wear.lithium_life import EasierLithium, LithiumWear

P = table("wear", "life")
CYCLES = {"flooded": (P.number("cycles_flooded"), P.sigma("cycles_flooded")), "agm": (P.number("cycles_agm"), P.sigma("cycles_agm")),
          "gel": (P.number("cycles_gel"), P.sigma("cycles_gel"))}
FLOAT_YEARS = {"flooded": (P.number("float_years_flooded"), P.sigma("float_years_flooded")),
               "agm": (P.number("float_years_agm"), P.sigma("float_years_agm")),
               "gel": (P.number("float_years_gel"), P.sigma("float_years_gel"))}
LABEL_SIGMA, PACE_SIGMA = P.number("label_sigma_ln"), {True: P.number("pace_lead_sigma_ln"), False: P.number("pace_lithium_sigma_ln")}
NEW_FRAC, NEW_SIGMA = P.number("new_capacity_frac"), P.sigma("new_capacity_frac")
SEASON_SIGMA, LONGEST_YEARS, LEAST_DAYS = P.number("season_sigma_ln"), P.number("longest_years"), P.number("least_days")
LINE_SHARE, LINE_FROM_YEARS = P.number("line_share"), P.number("line_from_years")
OLDEST_YEARS = P.number("oldest_years")
SLOWEST_FADE, SHORTEST_YEARS = P.number("slowest_fade_per_year"), P.number("shortest_years")
LEAST_LEFT_FRAC, LEAST_SIGMA_LN = P.number("least_left_frac"), P.number("least_sigma_ln")
DRAWS, DISAGREE = P.count("draws"), P.number("disagree_sigmas")
LEAST_CRITERION, NAMED_YEARS = P.number("least_criterion"), P.number("named_years")
COOL_C, PART_H, DEEP_FRAC = P.number("cool_c"), P.number("part_h"), P.number("deep_frac")
HIGH_CELL_V, HALF_FRAC, MILD_CHARGE_C = P.number("high_cell_v"), P.number("half_frac"), P.number("mild_charge_c")
GRID, BISECTIONS = P.count("grid_per_year"), P.count("bisections")
#: What shortens a life: name -> what it is spared when that is asked.
LEAD_CAUSES = {"heat": Easier(warmest_c=COOL_C), "standing part-charged": Easier(longest_part_h=PART_H),
               "layered acid": Easier(layering=False), "deep discharges": Easier(deepest_frac=DEEP_FRAC),
               "high charging voltage": Easier(highest_cell_v=HIGH_CELL_V)}
LITHIUM_CAUSES = {"heat": EasierLithium(warmest_c=COOL_C), "standing full": EasierLithium(fullest_frac=HALF_FRAC),
                  "charging in the cold": EasierLithium(coldest_charge_c=MILD_CHARGE_C), "use": EasierLithium(unused=True)}


@dataclass(frozen=True, slots=True)
class MeasuredCapacity:
    """What a log has measured of the battery: capacity over the rating, one sigma of its logarithm, and its age.

    age_years None: nobody knows how long it has been used like this.
    """

    capacity_frac: float
    sigma_ln: float
    age_years: float | None = None


@dataclass(frozen=True, slots=True)
class LifeForecast:
    """Years until the battery holds no more than criterion_frac of its rating, and until it holds 80 %.

    Of a new battery from its first day, of a measured one from now; each with its 95 % range. shortened_by: what costs most, as
    (cause, years), the largest first. loss_per_year: part of the rating that it loses in the next year. agrees: False where
    measured capacity and counted wear part, and the range was widened.
    """

    years: Answer
    years_to_80: Answer
    criterion_frac: float
    shortened_by: tuple[tuple[str, float], ...] = ()
    loss_per_year: Answer = NotYet("")
    agrees: bool = True
    full_cycles_per_year: float = 0.0
    weight_ratio: float = 1.0       # how many times as hard as the standard test the use is, lead-acid only


@dataclass(frozen=True, slots=True)
class _Drawn:
    """One battery that may be: capacity left after so many years of the life, and its weight."""

    left: Callable[[float], float]
    age_years: float
    weight: float = 1.0


def forecast_life(slots: Sequence[UseSlot], label: LifeLabel, criterion_frac: float = USED_UP_FRAC,
                  measured: MeasuredCapacity | None = None, causes: bool = True, seed: int = 1) -> LifeForecast:
    """How long a battery lasts in this life.

    slots : the life, oldest first: best a whole year; it is repeated
    label : the battery's
    criterion_frac : part of its rating below which it is too small for its owner
    measured : what a log has measured of it; None for a new battery
    causes : whether to ask what shortens the life (it takes some four times as long)
    seed : of the chance

    Raises
    ------
    ValueError : a criterion that is no part of a capacity
    """
    if not LEAST_CRITERION <= criterion_frac <= 1.0:
        raise ValueError(f"criterion_frac is {criterion_frac:g}: it must lie between {LEAST_CRITERION:g} and 1")
    days = sum(slot.hours for slot in slots) / 24.0
    if days < LEAST_DAYS:
        known = f"{days:.0f} days" if days >= 1 else "no day"
        missing = NotYet(f"it takes {LEAST_DAYS:.0f} days of charge, temperature and use; {known} are there so far")
        return LifeForecast(missing, missing, criterion_frac, loss_per_year=missing)
    season = SEASON_SIGMA * sqrt(max(1.0 - days / 365.0, 0.0))
    depths = lithium_life.swing_depths(slots, label.rated_capacity_ah) if label.chemistry == "lfp" else []
    wear = _wear(slots, label, None, depths)
    by_rule = [wear if rule is lead_acid_life.USUAL_FULL else lead_acid_life.wear_a_year(slots, label, full=rule)
               for rule in lead_acid_life.FULL_RULES] if isinstance(wear, LeadWear) else []
    drawn, apart = _weigh(_draw(wear, by_rule, label, season, measured, seed), measured)
    drawn = _with_lines(drawn, measured, seed)
    years, to_80 = (_years(drawn, frac, apart, bool(by_rule)) for frac in (criterion_frac, USED_UP_FRAC))
    now = [(d.left(d.age_years) - d.left(d.age_years + 1.0), d.weight) for d in drawn]
    shortened = _causes(slots, label, wear, criterion_frac, depths) if causes else ()
    weight = wear.weighted_cycles / wear.full_cycles if isinstance(wear, LeadWear) and wear.full_cycles else 1.0
    return LifeForecast(years, to_80, criterion_frac, shortened, _quantiles(now, 1.0), apart <= 1.0, wear.full_cycles, weight)


def _wear(slots: Sequence[UseSlot], label: LifeLabel, cause: str | None, depths: Sequence[float]) -> LeadWear | LithiumWear:
    """What a year of the life does, or would do without one of its causes; depths: of a lithium battery's swings, by slot."""
    if label.chemistry == "lfp":
        return lithium_life.wear_a_year(slots, label, LITHIUM_CAUSES[cause] if cause else lithium_life.NOTHING_SPARED, depths)
    return lead_acid_life.wear_a_year(slots, label, LEAD_CAUSES[cause] if cause else lead_acid_life.NOTHING_SPARED)


def _draw(wear: LeadWear | LithiumWear, by_rule: Sequence[LeadWear], label: LifeLabel, season: float, measured: MeasuredCapacity | None,
          seed: int) -> list[_Drawn]:
    """Batteries that the label may stand for, each living this life.

    wear: of the life; by_rule: the same of lead-acid by each rule of what is full; label: the battery's; season: one sigma of a year's
    pace [ln]; measured: what a log has measured; seed: of the chance.
    """
    chance, found = Random(seed), []
    lead = isinstance(wear, LeadWear)
    layers = _grid(wear) if isinstance(wear, LeadWear) else []          # what is full is nothing to the grid
    for number in range(DRAWS):
        a, b, c, d, u = (chance.gauss(0, 1), chance.gauss(0, 1), chance.gauss(0, 1), chance.gauss(0, 1), chance.random())
        pace = exp(hypot(PACE_SIGMA[lead], season) * c)
        new = NEW_FRAC * exp(NEW_SIGMA * d)
        age = 0.0 if measured is None else measured.age_years
        if age is None:
            age = u * OLDEST_YEARS
        left = (_lead_left(by_rule[number % len(by_rule)], label, layers, a, b, pace, new) if isinstance(wear, LeadWear)
                else _lithium_left(wear, number % len(lithium_life.MODELS), pace, new))
        found.append(_Drawn(left, age))
    return found


def _lead_left(wear: LeadWear, label: LifeLabel, layers: list[float], a: float, b: float, pace: float,
               new: float) -> Callable[[float], float]:
    """Capacity left of one lead-acid battery after so many years; a, b: how lucky in cycles and in float years [sigmas]."""
    cycles, cycles_sigma = CYCLES[label.chemistry] if label.cycles is None else (label.cycles, LABEL_SIGMA)
    floats, floats_sigma = FLOAT_YEARS[label.chemistry] if label.float_years is None else (label.float_years, LABEL_SIGMA)
    mine = cycles * exp(cycles_sigma * a)
    end = lead_acid_life.corrosion_at_end(label, floats * exp(floats_sigma * b))
    begun = lead_acid_life.degradation_loss(0.0, mine)

    def capacity_left(years: float) -> float:
        lived = years * pace
        corroded = lead_acid_life.CORROSION_LOSS * _on_grid(layers, lived) / end
        return new - corroded - (lead_acid_life.degradation_loss(wear.weighted_cycles * lived, mine) - begun)

    return capacity_left


def _grid(wear: LeadWear) -> list[float]:
    return lead_acid_life.layer_after(wear, [step / GRID for step in range(2 * GRID * int(LONGEST_YEARS) + 1)])


def _on_grid(layers: list[float], years: float) -> float:
    """The corrosion layer at a moment, straight between the grid's, and on beyond its end."""
    at = min(max(int(years * GRID), 0), len(layers) - 2)
    return layers[at] + (layers[at + 1] - layers[at]) * (years * GRID - at)


def _lithium_left(wear: LithiumWear, model: int, pace: float, new: float) -> Callable[[float], float]:
    """Capacity left of one lithium battery after so many years."""
    loss = lithium_life.loss_of(wear, lithium_life.MODELS[model])
    return lambda years: new - pace * loss(years)


def _weigh(drawn: list[_Drawn], measured: MeasuredCapacity | None) -> tuple[list[_Drawn], float]:
    """The draws, those that agree with the measured capacity counting more; and by what to widen where none does (1: not)."""
    if measured is None:
        return drawn, 1.0
    logs = [log(max(d.left(d.age_years), LEAST_LEFT_FRAC)) for d in drawn]
    mean = sum(logs) / len(logs)
    spread = sqrt(sum((x - mean) ** 2 for x in logs) / len(logs))
    seen = log(max(measured.capacity_frac, LEAST_LEFT_FRAC))
    apart = abs(seen - mean) / max(hypot(spread, measured.sigma_ln), 1e-6) / DISAGREE
    sigma = max(measured.sigma_ln, LEAST_SIGMA_LN) * max(apart, 1.0)
    gain = spread**2 / max(spread**2 + measured.sigma_ln**2, 1e-9)   # a vague measurement moves a draw little, a sharp one all the way
    return [replace(d, left=_anchor(d.left, d.age_years, gain, measured.capacity_frac * exp(measured.sigma_ln * (k % 7 - 3) / 2)),
                    weight=exp(-0.5 * ((x - seen) / sigma) ** 2) + 1e-9) for k, (d, x) in enumerate(zip(drawn, logs, strict=True))], apart


def _with_lines(drawn: list[_Drawn], measured: MeasuredCapacity | None, seed: int) -> list[_Drawn]:
    """The draws, and beside them the measured fade carried on as a straight line from a new battery: the models bend down late,
    batteries need not."""
    if measured is None or measured.age_years is None or measured.age_years < LINE_FROM_YEARS:
        return drawn
    chance, age = Random(seed + 1), measured.age_years
    weight = LINE_SHARE / (1.0 - LINE_SHARE) * sum(d.weight for d in drawn) / len(drawn)
    lines = []
    for _ in drawn:
        now = measured.capacity_frac * exp(measured.sigma_ln * chance.gauss(0, 1))
        fade = max((NEW_FRAC * exp(NEW_SIGMA * chance.gauss(0, 1)) - now) / age, SLOWEST_FADE)
        lines.append(_Drawn(_line(now, age, fade), age, weight))
    return drawn + lines


def _line(now_frac: float, age_years: float, fade_per_year: float) -> Callable[[float], float]:
    """Capacity that falls evenly from what it is now."""
    return lambda years: now_frac - fade_per_year * (years - age_years)


def _anchor(left: Callable[[float], float], age_years: float, gain: float, now_frac: float) -> Callable[[float], float]:
    """The same decline, from the capacity that was measured now, as far as the measurement is sharper than the draws."""
    lift = gain * (now_frac - left(age_years))
    return lambda years: left(years) + lift


def _years(drawn: list[_Drawn], criterion_frac: float, apart: float, by_rules: bool) -> Estimate:
    """Years from each draw's age until it holds no more than the criterion: the middle and the 95 % range.

    drawn: the batteries; criterion_frac: part of the rating; apart: by what to widen; by_rules: they lie in three heaps, one for each
    rule of what is full, a factor of three apart; the middle is then their geometric mean, as the median leaps from heap to heap.
    """
    values = [(_when(d.left, criterion_frac, d.age_years) - d.age_years, d.weight) for d in drawn]
    found = _quantiles(values, max(apart, 1.0))
    low, middle, high = max(found.low, 0.0), found.value, min(found.high, LONGEST_YEARS)
    if by_rules and middle > SHORTEST_YEARS:
        middle = exp(sum(w * log(min(max(years, SHORTEST_YEARS), LONGEST_YEARS)) for years, w in values) / sum(w for _, w in values))
    return replace(found, low=low, high=high, value=min(max(middle, low), high))


def _when(left: Callable[[float], float], criterion_frac: float, from_years: float) -> float:
    """The year in which it comes down to the criterion; the age itself where it is there already."""
    low, high = from_years, from_years + LONGEST_YEARS
    if left(low) <= criterion_frac:
        return low
    if left(high) > criterion_frac:
        return high
    for _ in range(BISECTIONS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if left(middle) > criterion_frac else (low, middle)
    return (low + high) / 2.0


def _quantiles(values: list[tuple[float, float]], widen: float) -> Estimate:
    """Median and 95 % range of weighted values; the range widened about its middle."""
    ordered = sorted(values)
    total, so_far, found = sum(w for _, w in ordered), 0.0, []
    wanted = [0.025, 0.5, 0.975]
    for value, weight in ordered:
        so_far += weight
        while wanted and so_far >= wanted[0] * total:
            found.append(value)
            wanted.pop(0)
    found += [ordered[-1][0]] * (3 - len(found))
    low, middle, high = found
    return Estimate(middle, middle - widen * (middle - low), middle + widen * (high - middle), "learnt")


def _causes(slots: Sequence[UseSlot], label: LifeLabel, wear: LeadWear | LithiumWear,
            criterion_frac: float, depths: Sequence[float]) -> tuple[tuple[str, float], ...]:
    """What the usual battery of this label would live longer without each cause [years], the largest first; a tenth and more."""
    def life_years(one: LeadWear | LithiumWear) -> float:
        if isinstance(one, LeadWear):
            return _when(_lead_left(one, label, _grid(one), 0.0, 0.0, 1.0, NEW_FRAC), criterion_frac, 0.0)
        models = [_when(_lithium_left(one, k, 1.0, NEW_FRAC), criterion_frac, 0.0) for k in range(len(lithium_life.MODELS))]
        return sum(models) / len(models)

    as_it_is = life_years(wear)
    names = LITHIUM_CAUSES if label.chemistry == "lfp" else LEAD_CAUSES
    costs = [(name, life_years(_wear(slots, label, name, depths)) - as_it_is) for name in names]
    return tuple(sorted(((name, years) for name, years in costs if years >= NAMED_YEARS), key=lambda pair: -pair[1]))
