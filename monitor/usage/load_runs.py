"""Runs of single loads: a step of the current down, and the step or steps back that answer it.

Pairing switch-on with switch-off edges of like size is Hart's, Nonintrusive appliance load monitoring (Proc. IEEE 80 (1992)
1870). Which edge answers which is often clear only later: several readings of the same steps are kept side by side, each with
its cost, as in multiple-hypothesis tracking (Reid, IEEE Trans. Automatic Control 24 (1979) 843).
"""
from collections.abc import Iterator
from typing import Protocol

from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.usage.current_steps import CurrentStep

P = table("usage", "load_runs")
SIGMA_A, SIGMA_FRAC = P.number("step_sigma_a"), P.number("step_sigma_frac")
LONGEST_S, MOST, READINGS = P.number("longest_s"), P.count("most_running"), P.count("readings")
PART_COST, PAIR_COST, BOTH_COST, MISSED_COST = (
    P.number("part_cost"), P.number("pair_cost"), P.number("both_cost"), P.number("missed_cost"))
FAR_COST = P.number("far_cost")
HIDDEN_S, HIDDEN_COST, OVER_A, OVER_FRAC = P.number("hidden_s"), P.number("hidden_cost"), P.number("over_a"), P.number("over_frac")
SPLIT_S = P.number("split_s")
REST_SIGMA_A, REST_MOST = P.number("rest_sigma_a"), P.number("rest_most")


@dataclass(frozen=True, slots=True)
class OnLoad:
    """A load that is on: since when, what it took at first and takes now [A], what it has taken up to since_s [A s].

    counted_as of that was counted to the day before [A s].
    """

    on_s: float
    first_a: float
    left_a: float
    since_s: float
    taken_as: float = 0.0
    counted_as: float = 0.0

    def taken_by(self, at_s: float) -> float:
        """What it has taken by a moment, and is not counted yet [A s]."""
        return self.taken_as + self.left_a * max(at_s - self.since_s, 0.0) - self.counted_as


@dataclass(frozen=True, slots=True)
class LoadRun:
    """A run that is over: what the load took when switched on [A], and in all [A s]. seen_end: its step back was seen."""

    on_s: float
    off_s: float
    current_a: float
    taken_as: float
    seen_end: bool = True
    seen_start: bool = True


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read the steps so far: what is on, what has ended and is not settled yet, and what it costs (-ln of its odds)."""

    on: tuple[OnLoad, ...] = ()
    ended: tuple[LoadRun, ...] = ()
    cost: float = 0.0


class KnownLoads(Protocol):
    """What is known of loads, as costs."""

    def __call__(self, current_a: float, run_s: float) -> float:
        """What a run of such a current [A] and length [s] costs."""

    def of_part(self, current_a: float) -> float:
        """What it costs besides that a load of such a current [A] takes less and stays on."""


def shorten(value: float) -> float:
    """Rounded, since the state is saved every minute on a card.

    >>> shorten(12.3456789)
    12.3457
    """
    return float(f"{value:.6g}")


def switch(readings: tuple[Reading, ...], step: CurrentStep, known: KnownLoads, visible_s: float) -> tuple[Reading, ...]:
    """The readings after a step of the current, the likeliest first.

    readings: so far; step: up where a load goes off; known: what is known of loads; visible_s: since when steps can be
    seen [s].
    """
    if step.by_a < 0:
        load = OnLoad(step.at_s, -step.by_a, -step.by_a, step.at_s)
        return _best(after for one in readings for after in _switched_on(one, load, known))
    return _best(after for one in readings for after in _answers(one, step, known, visible_s))


def _switched_on(one: Reading, load: OnLoad, known: KnownLoads) -> Iterator[Reading]:
    """A load of its own, or the rest of a step that a reading fell into."""
    yield replace(one, on=(*one.on, load)[-MOST:])
    if one.on and load.on_s - one.on[-1].on_s < SPLIT_S and one.on[-1].left_a == one.on[-1].first_a:
        before, amps = one.on[-1], one.on[-1].first_a + load.first_a
        yield replace(one, on=(*one.on[:-1], replace(before, first_a=amps, left_a=amps)),
                      cost=one.cost + PART_COST + known.of_part(before.first_a))


def _answers(one: Reading, step: CurrentStep, known: KnownLoads, visible_s: float) -> Iterator[Reading]:
    """What a step back may answer: one load, two at once, a part of one, one and a part of another, or a start that was missed."""
    by_a, at_s = step.by_a, step.at_s
    sigma_a = SIGMA_A + SIGMA_FRAC * by_a

    def cost_of(load: OnLoad) -> float:
        return known(load.first_a, at_s - load.on_s)

    def off(amps: float) -> float:
        return ((amps - by_a) / sigma_a) ** 2 / 2

    start = HIDDEN_COST if at_s - visible_s < HIDDEN_S else MISSED_COST
    unseen = LoadRun(visible_s, at_s, by_a, 0.0, seen_start=False)
    yield replace(one, ended=(*one.ended, unseen), cost=one.cost + start)
    for load in one.on:
        others = tuple(other for other in one.on if other is not load)
        if off(load.left_a) < FAR_COST:
            yield Reading(others, (*one.ended, _end_run(load, at_s, by_a)), one.cost + off(load.left_a) + cost_of(load))
        if load.left_a > by_a + sigma_a:
            yield replace(one, on=(*others, _lower(load, at_s, by_a)), cost=one.cost + PART_COST + known.of_part(load.first_a))
        for other in others:
            rest = tuple(third for third in others if third is not other)
            both = load.left_a + other.left_a
            if off(both) < FAR_COST and load.on_s <= other.on_s:
                runs = (_end_run(load, at_s, load.left_a), _end_run(other, at_s, other.left_a))
                yield Reading(rest, (*one.ended, *runs), one.cost + PAIR_COST + off(both) + cost_of(load) + cost_of(other))
            left = by_a - load.left_a
            if sigma_a < left < other.left_a - sigma_a:
                yield Reading((*rest, _lower(other, at_s, left)), (*one.ended, _end_run(load, at_s, load.left_a)),
                              one.cost + BOTH_COST + cost_of(load) + known.of_part(other.first_a))


def _lower(load: OnLoad, at_s: float, by_a: float) -> OnLoad:
    """A load that takes less from now on."""
    return replace(load, left_a=load.left_a - by_a, since_s=at_s, taken_as=load.taken_by(at_s) + load.counted_as)


def _end_run(load: OnLoad, at_s: float, back_a: float) -> LoadRun:
    """A run with its end: what it took, by the mean of the steps where nothing came between them."""
    if load.left_a == load.first_a:
        mean_a = (load.first_a + back_a) / 2
        return LoadRun(load.on_s, at_s, mean_a, mean_a * (at_s - load.on_s) - load.counted_as)
    return LoadRun(load.on_s, at_s, load.first_a, load.taken_by(at_s))


def _best(readings: Iterator[Reading]) -> tuple[Reading, ...]:
    """The cheapest of each that are alike in what is on, and of those the cheapest few; costs from the cheapest on."""
    alike: dict[tuple, Reading] = {}
    for one in readings:
        key = tuple(sorted((load.on_s, round(load.left_a, 1)) for load in one.on))
        if key not in alike or one.cost < alike[key].cost:
            alike[key] = one
    kept = sorted(alike.values(), key=lambda one: one.cost)[:READINGS]
    return tuple(replace(one, cost=one.cost - kept[0].cost) for one in kept if one.cost < kept[0].cost + FAR_COST)


def hide(on: tuple[OnLoad, ...], at_s: float) -> tuple[LoadRun, ...]:
    """The runs of what is on where steps can be seen no longer: their ends are not known.

    on: what is on; at_s: the log's time [s].
    """
    return tuple(LoadRun(load.on_s, at_s, load.first_a, load.taken_by(at_s), seen_end=False) for load in on)


def weigh_rest(readings: tuple[Reading, ...], drawn_a: float, base_a: float, at_s: float) -> tuple[Reading, ...]:
    """The readings in the light of what all loads draw together: what is on, and the loads that always are, must make it up.

    Where too much is thought to be on, something has ended unseen; where too little, something was taken for ended.

    readings: so far; drawn_a: by all loads [A]; base_a: by those that are always on [A]; at_s: the log's time [s].
    """
    def weigh() -> Iterator[Reading]:
        for one in readings:
            on, runs = one.on, list(one.ended)
            cost = one.cost
            while on and (over_a := sum(load.left_a for load in on) + 0.5 * base_a - drawn_a) > OVER_A + OVER_FRAC * drawn_a:
                gone = min(on, key=lambda load: (abs(load.left_a - over_a), load.on_s))
                runs += hide((gone,), at_s)
                on, cost = tuple(load for load in on if load is not gone), cost + MISSED_COST
            runs += hide(tuple(load for load in on if at_s - load.on_s >= LONGEST_S), at_s)
            on = tuple(load for load in on if at_s - load.on_s < LONGEST_S)
            rest_a = drawn_a - sum(load.left_a for load in on) - base_a
            yield Reading(on, tuple(runs), cost + min((max(rest_a, 0.0) / REST_SIGMA_A) ** 2 / 2, REST_MOST))
    return _best(weigh())


def settle(readings: tuple[Reading, ...], whole: bool = False) -> tuple[tuple[Reading, ...], tuple[LoadRun, ...]]:
    """The readings without the runs that all of them agree on, and those runs; whole: all of the likeliest one's.

    readings: the likeliest first
    """
    if not readings:
        return (Reading(),), ()
    best = readings[0]
    if whole or len(readings) == 1:
        return (Reading(best.on),), best.ended
    agreed = tuple(run for run in best.ended if all(run in one.ended for one in readings[1:]))
    return tuple(replace(one, ended=tuple(run for run in one.ended if run not in agreed)) for one in readings), agreed
