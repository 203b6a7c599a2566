"""The house battery's life: resistance and capacity week by week, cycles, heat and hours at low charge."""
from math import exp, log
from typing import ClassVar, TypeVar

from monitor.battery import lead_acid
from monitor.battery.label import Battery, Vehicle
from monitor.battery.limits import Limits, ageing_ratio, limits_of
from monitor.estimation import step_resistance
from monitor.findings import Z95, ChargeFindings, Condition, Estimate, Event, EvidenceLine, HealthFindings, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute
from monitor.usage import load_off
from monitor.usage.load_off import LoadOffState
from monitor.wear import rainflow_count, resistance_trend, resistance_weeks, swings
from monitor.wear.rainflow_count import Rainflow
from monitor.wear.resistance_weeks import Effects, Sums, WeekLevel
from monitor.wear.verdict import NOTHING_YET, CapacityTest, Verdict, judge
from monitor.wear.week import Week
from monitor.wear.week import event as week_event

WEEK_S = 7 * 86400.0

P = table("wear", "health")
LEAST_FRAC, FAR_LN = P.number("least_frac"), P.number("far_ln")
KEPT_WEEKS, MOST_OHM_AH, LOW_FRACS = P.count("kept_weeks"), P.number("most_ohm_ah"), P.numbers("low_fracs")
FULL_AGAIN_S, USUAL_LEVEL, USUAL_STEPS = P.number("full_again_s"), P.number("usual_level"), P.count("usual_steps")
WHOLE_STEP_PER_H, FIRST_WEEKS, LAST_WEEKS = P.number("whole_step_per_h"), P.count("first_weeks"), P.count("last_weeks")
#: A record of one week, whichever it is.
Record = TypeVar("Record")


@dataclass(frozen=True, slots=True)
class Wear:
    """Totals since the battery was installed (or first seen)."""

    charge_out_ah: float = 0.0
    low_hours: tuple[float, float, float] = (0.0, 0.0, 0.0)     # below 50, 30, 20 %
    heat_hours: tuple[float, float] = (0.0, 0.0)                # hours weighted by the two rules
    seen_hours: float = 0.0
    longest_without_full_s: float = 0.0
    since_full_s: float = 0.0
    cycles: Rainflow = Rainflow()


@dataclass(frozen=True, slots=True)
class OpenWeek:
    """The week being filled."""

    start_s: float | None = None
    steps: Sums = Sums()
    warm_sum_c: float = 0.0
    warm_hours: float = 0.0
    watched: LoadOffState = LoadOffState()
    anchor_age_s: float | None = None
    level_frac: float | None = None
    week: Week = Week(0.0)


@dataclass(frozen=True, slots=True)
class HealthState:
    """Weeks that are over, the one being filled, and the totals."""

    weeks: tuple[Week, ...] = ()
    filling: OpenWeek = OpenWeek()
    levels: tuple[WeekLevel, ...] = ()  # of resistance, a week each
    learnt: Sums = Sums()           # what the insides of the weeks say of depth and warmth
    wear: Wear = Wear()
    judged: Verdict = NOTHING_YET
    test: CapacityTest | None = None      # the latest capacity test
    swung: swings.SwingsState = swings.SwingsState()
    news: tuple[Event, ...] = ()
    first_test: CapacityTest | None = None  # of this battery's life that reached its end: what it gave when it was new

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"first_test"})


def begin() -> HealthState:
    """Nothing seen yet."""
    return HealthState()


def update(state: HealthState, minute: Minute, vehicle: Vehicle, charge: ChargeFindings) -> HealthState:
    """One minute further; a week is closed by the first minute beyond it.

    state: what was kept after the minute before; vehicle: what its owner said of it; charge: what is known of the charge; minute:
    what was measured.
    """
    filling, weeks, judged = state.filling, state.weeks, state.judged
    news: tuple[Event, ...] = ()
    levels, learnt = state.levels, state.learnt
    if filling.start_s is None:
        filling = replace(filling, start_s=minute.start_s, week=Week(minute.start_s))
    elif minute.end_s - filling.start_s > WEEK_S:
        learnt = resistance_weeks.pool_effects(learnt, resistance_weeks.within_week(filling.steps))
        effects = resistance_weeks.effects(learnt, vehicle.house)
        level_now = resistance_weeks.level(filling.steps, filling.start_s, effects)
        levels = levels if level_now is None else _thin_weeks((*levels, level_now))
        over = close_week(filling, level_now, effects)
        weeks = _thin_weeks((*weeks, over))
        judged = judge(weeks, vehicle.house, state.test, resistance_trend.growth(levels, effects), state.first_test)
        news = (week_event(over, minute.start_s),)
        if judged.word != state.judged.word and judged.word != "not enough evidence":
            news += (Event(minute.end_s, "battery_verdict", "house", f"The house battery is judged: {judged.word}."),)
        filling = OpenWeek(start_s=minute.start_s, watched=filling.watched, anchor_age_s=filling.anchor_age_s,
                          level_frac=filling.level_frac, week=Week(minute.start_s))
    week, hours = filling.week, minute.duration_s / 3600
    level = charge.charge_frac.value if isinstance(charge.charge_frac, Estimate) else None
    before_s, age_s = filling.anchor_age_s, charge.anchor_age_s
    anchored = age_s is not None and (before_s is None or age_s < before_s)
    new_full = anchored and charge.anchor == "full"
    emptied_at_frac = filling.level_frac if anchored and charge.anchor == "empty" else None
    size = charge.capacity_ah
    week = Week(
        week.start_s, None, None,
        *((size.value, size.low, size.high) if isinstance(size, Estimate)
          else (week.capacity_ah, week.capacity_low_ah, week.capacity_high_ah)),
        None,
        week.lowest_frac if level is None else min(week.lowest_frac, level),
        week.highest_frac if level is None else max(week.highest_frac, level),
        week.charge_out_ah + minute.charge_out_ah,
        week.fulls + (new_full and (before_s is None or before_s > FULL_AGAIN_S)),
        week.empties_above_frac if emptied_at_frac is None else max(week.empties_above_frac, emptied_at_frac))
    warm = minute.house_temperature_c
    filling = _update_on_step(filling, minute, vehicle.house, level, week, age_s, warm, hours, learnt)
    wear = _update_wear(state.wear, minute, hours, level, warm, new_full, limits_of(vehicle.house.chemistry))
    return HealthState(weeks, filling, levels, learnt, wear, judged, state.test,
                       swings.update(state.swung, minute, vehicle, charge), news, state.first_test)


def note_capacity_test(state: HealthState, test: CapacityTest, vehicle: Vehicle) -> HealthState:
    """What is held after a capacity test: one more line of evidence, weighed at once.

    state: what was kept after the minute before; vehicle: what its owner said of it.
    """
    first = state.first_test if state.first_test is not None or not test.reached_end else test
    growth = resistance_trend.growth(state.levels, resistance_weeks.effects(state.learnt, vehicle.house))
    return replace(state, test=test, first_test=first, judged=judge(state.weeks, vehicle.house, test, growth, first))


def _update_on_step(filling: OpenWeek, minute: Minute, battery: Battery, known_frac: float | None, week: Week,
             anchor_age_s: float | None, warm: float | None, hours: float, learnt: Sums) -> OpenWeek:
    """The filling with the moments of one minute at which a load went off, with the voltage that came back."""
    level = USUAL_LEVEL if known_frac is None else known_frac
    warmth = 0.0 if warm is None else warm - lead_acid.REFERENCE_C
    watched, steps, rated, effects = filling.watched, filling.steps, battery.rated_capacity_ah, None
    for now_s, voltage, current in step_resistance.bins(minute):
        watched, step = load_off.add(watched, now_s, voltage, current, rated)
        if step is not None and level > LEAST_FRAC and 0 < step.ohm < MOST_OHM_AH / rated:
            effects = effects or resistance_weeks.effects(learnt, battery)
            steady = log(step.ohm) - effects.depth * resistance_weeks.shape(level) - effects.warmth_per_k * warmth
            usual = steady
            if steps.steps >= USUAL_STEPS:
                usual = (steps.y - effects.depth * steps.x - effects.warmth_per_k * steps.t) / steps.w
            if abs(steady - usual) < FAR_LN:
                weight = min((step.change_a / (WHOLE_STEP_PER_H * rated)) ** 2, 1.0)
                steps = resistance_weeks.add(steps, step, weight, level, warmth, effects)
    warm_sum, warm_hours = filling.warm_sum_c, filling.warm_hours
    if warm is not None:
        warm_sum, warm_hours = warm_sum + warm * hours, warm_hours + hours
    return OpenWeek(filling.start_s, steps, warm_sum, warm_hours, watched, anchor_age_s, known_frac, week)


def close_week(filling: OpenWeek, level: WeekLevel | None, effects: Effects) -> Week:
    """The record of a week, from what was gathered in it.

    filling: the week so far; level: its level; effects: what depth and temperature do.
    """
    resistance = sigma = None
    if level is not None:
        log_ohm, sigma_ln = resistance_weeks.at_full(level, effects)
        resistance = exp(log_ohm)
        sigma = resistance * sigma_ln
    warm = filling.warm_sum_c / filling.warm_hours if filling.warm_hours else None
    return replace(filling.week, resistance_ohm=resistance, resistance_sigma_ohm=sigma, temperature_c=warm)


def _thin_weeks(weeks: tuple[Record, ...]) -> tuple[Record, ...]:
    """At most KEPT_WEEKS records: the first eight (the baseline) stay, of the old ones every second goes."""
    if len(weeks) <= KEPT_WEEKS:
        return weeks
    first, middle, last = weeks[:FIRST_WEEKS], weeks[FIRST_WEEKS:-LAST_WEEKS], weeks[-LAST_WEEKS:]
    return (*first, *middle[::2], *last)


def _update_wear(wear: Wear, minute: Minute, hours: float, level: float | None, warm: float | None, full: bool,
          limits: Limits) -> Wear:
    low, heat, cycles = wear.low_hours, wear.heat_hours, wear.cycles
    if level is not None:
        low = (low[0] + hours * (level < LOW_FRACS[0]), low[1] + hours * (level < LOW_FRACS[1]), low[2] + hours * (level < LOW_FRACS[2]))
        cycles = rainflow_count.add(cycles, level)
    if warm is not None:
        gentle, harsh = ageing_ratio(limits, warm)  # two published rules: a range, not one of them
        heat = (heat[0] + hours * gentle, heat[1] + hours * harsh)
    since = 0.0 if full else wear.since_full_s + minute.duration_s
    return Wear(wear.charge_out_ah + minute.charge_out_ah, low, heat, wear.seen_hours + (hours if warm is not None else 0.0),
                max(wear.longest_without_full_s, since), since, cycles)


def findings(state: HealthState, vehicle: Vehicle) -> HealthFindings:
    """What the weeks and the totals say."""
    wear, judged = state.wear, state.judged
    warm = wear.seen_hours
    gentle, harsh = sorted(wear.heat_hours)
    return HealthFindings(
        judged.word, judged.lines, judged.capacity_frac, judged.resistance_growth_ratio,
        _latest_resistance(state), len(state.weeks), wear.charge_out_ah,
        wear.charge_out_ah / vehicle.house.rated_capacity_ah, rainflow_count.count_with_halves(wear.cycles), wear.low_hours,
        (gentle / warm, harsh / warm) if warm > 24 else None,
        wear.since_full_s, wear.longest_without_full_s, swings.own_capacity(state.swung, vehicle), state.swung.most_ah)


def _latest_resistance(state: HealthState) -> Estimate | NotYet:
    for week in reversed(state.weeks):
        if week.resistance_ohm is not None and week.resistance_sigma_ohm is not None:
            spread = Z95 * week.resistance_sigma_ohm
            return Estimate(week.resistance_ohm, week.resistance_ohm - spread, week.resistance_ohm + spread, "measured")
    return NotYet("one week in which a load of some amperes went off at least twenty times")


def conditions(state: HealthState) -> tuple[Condition, ...]:
    """A battery to watch, a battery to replace."""
    judged = state.judged
    told = {line.weight: line for line in reversed(judged.lines)}
    worst: EvidenceLine | None = told.get("decisive") or told.get("strong") or told.get("weak")
    seen = "; ".join(line.seen for line in judged.lines if line.weight != "for")
    undo = worst.overturned_by if worst else ""
    evidence = f"{seen[:1].upper()}{seen[1:]}." if seen else ""
    return (
        Condition("battery_worn", "house", judged.word == "replace", "medium", "House battery is used up.",
                  "Nights are shorter than its rating says.",
                  "Terminals and cables first; then plan a replacement, and ask the page Health what size this life needs.",
                  f"It clears with {undo}.", evidence=evidence),
        Condition("battery_watch", "house", judged.word == "watch", "low", "House battery shows its age.",
                  "It is not used up yet.", "A guided capacity test says more: `ampledger capacity-test`.",
                  f"It clears with {undo}.", evidence=evidence),
    )
