"""Simulated vehicles lived through by all trackers, each shown figure beside the truth once an hour from the second day on."""
from collections.abc import Iterable
from functools import cache

from drivers.vehicle import Plan, VehicleSim
from monitor import pipeline
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from tests.benchmarks.ensemble import owner, vehicles
from tests.intervals.tally import Tally

DAY_S = 86400.0
STEP_S = 120.0
SEED = 1701
#: case of the ensemble -> vehicles, days
LEAD = (("lead healthy", 3), ("lead cold", 1))
LITHIUM = (("lithium", 3),)


def live(plans: Iterable[Plan]) -> dict[str, Tally]:
    """All figures of some vehicles."""
    seen = {name: Tally() for name in ("charge", "capacity", "left", "usable", "offset", "starter charge")}
    for plan in plans:
        _live(plan, seen)
    return seen


def _live(plan: Plan, seen: dict[str, Tally]) -> None:
    sim, vehicle = VehicleSim(plan), owner(plan)
    truths = {}

    def samples():
        for k in range(1, int(plan.days * DAY_S / STEP_S) + 1):
            state = sim.step(STEP_S)
            reading = sim.reading()
            truths[k * STEP_S] = state
            yield Sample(k * STEP_S, hour=(plan.start_hour + k * STEP_S / 3600.0) % 24.0, **reading.values)

    held, parts = pipeline.begin(vehicle), pipeline.with_dependencies({"charge", "starter"})
    # what the shunt reads too much; the battery's own electronics look the same to it
    offset_a = plan.sensor.current_offset_a + plan.house.own_use_a
    for minute in minutes(samples()):
        held, found = pipeline.step(held, minute, vehicle, parts)
        state = truths.pop(minute.end_s)
        if minute.end_s < DAY_S or minute.end_s % 3600.0:
            continue
        charge, true_ah = found.charge, state.house_capacity_ah
        z = min(max(state.house_soc_frac, 0.0), 1.0)
        seen["charge"].add(z, charge.charge_frac)
        seen["capacity"].add(true_ah, charge.capacity_ah, plan.house.label_ah)
        seen["left"].add(z * true_ah, charge.charge_left_ah, plan.house.label_ah)
        seen["usable"].add(max(z - vehicle.house.reserve_soc_frac, 0.0) * true_ah, charge.usable_left_ah, plan.house.label_ah)
        seen["offset"].add(offset_a, charge.current_offset_a)
        seen["starter charge"].add(state.starter_soc_frac, found.starter.charge_frac)


@cache
def lead() -> dict[str, Tally]:
    """Lead-acid house batteries of summer and winter."""
    return live(plan for case, count in LEAD for plan in vehicles(case, count, SEED, 6.0))


@cache
def lithium() -> dict[str, Tally]:
    """Lithium house batteries."""
    return live(plan for case, count in LITHIUM for plan in vehicles(case, count, SEED, 6.0))
