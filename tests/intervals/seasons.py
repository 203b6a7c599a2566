"""Vehicles of a season: capacity over time, the battery's own, and the growth of resistance, by the trackers that these rest on.

Away from home a step is two minutes, at home ten. Once a week, from the seventh on, each figure stands beside the truth.
"""
from collections.abc import Iterator
from functools import cache
from itertools import groupby

from drivers.vehicle import Plan, VehicleSim
from drivers.vehicle.sim import State
from monitor import pipeline
from monitor.findings import Estimate
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from monitor.wear import swings
from tests.benchmarks.ensemble import half_years, owner, true_growth
from tests.intervals.tally import Tally

DAY_S = 86400.0
SEED, DAYS, FIRST_WEEK = 1706, 98.0, 7
AWAY_STEP_S, HOME_STEP_S = 120.0, 600.0
#: case of the half-years -> vehicles
CASES = (("sound", 2), ("reservoir fades", 3), ("plates fade", 1), ("lithium sound", 1), ("lithium fades", 2))


def _journey(plan: Plan, truths: dict[float, State]) -> Iterator[Sample]:
    sim = VehicleSim(plan)
    while sim.at_s < DAYS * DAY_S - 1.0:
        state = sim.step(HOME_STEP_S if int(sim.at_s // DAY_S) in plan.home_days else AWAY_STEP_S)
        truths[sim.at_s] = state
        yield Sample(sim.at_s, hour=(plan.start_hour + sim.at_s / 3600.0) % 24.0, **sim.reading().values)


def _live(plan: Plan, seen: dict[str, Tally]) -> None:
    vehicle, truths = owner(plan), dict[float, State]()
    states, parts = pipeline.begin(vehicle), pipeline.with_dependencies({"health"})
    for _, several in groupby(minutes(_journey(plan, truths)), lambda minute: minute.end_s // 3600.0):
        hour = tuple(several)
        before, states, at_s = states.health, pipeline.relive(states, hour, vehicle, parts), hour[-1].end_s
        aged = states.health
        if aged.weeks is before.weeks or len(aged.weeks) < FIRST_WEEK:
            continue
        week, true_ah = aged.weeks[-1], truths[min(truths, key=lambda one_s: abs(one_s - at_s))].house_capacity_ah
        if week.capacity_ah is not None:
            seen["capacity"].add(true_ah, Estimate(week.capacity_ah, week.capacity_low_ah, week.capacity_high_ah, "learnt"), true_ah)
        if plan.house.limited_by != "plates":       # the acid's own says nothing of plates, and the page says so
            seen["own capacity"].add(true_ah, swings.own_capacity(aged.swung, vehicle), true_ah)
        if aged.levels:     # since the first week that had load steps enough
            truth = true_growth(plan, aged.levels[0].at_s, aged.levels[-1].at_s)
            seen["growth"].add(truth, aged.judged.resistance_growth_ratio, truth)


@cache
def figures() -> dict[str, Tally]:
    """Capacity week by week, own capacity and growth of resistance, each in shares of the truth."""
    seen = {name: Tally() for name in ("capacity", "own capacity", "growth")}
    for case, count in CASES:
        for plan in half_years(case, count, SEED):
            _live(plan, seen)
    return seen
