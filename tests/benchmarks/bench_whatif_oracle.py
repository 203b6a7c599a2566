"""What the log does not tell, told: how far what-if errs once the truth of one quantity at a time is put into its life.

    python -m tests.benchmarks.bench_whatif_oracle [vehicles] [seed]

The quantities: the battery's capacity; what came from the engine; the sun that a throttled charger held back; the use that a flat
battery prevented. The middle answer of each (no draws) is held against the vehicle's own simulation, as in bench_whatif.
"""
import sys
from collections.abc import Callable
from dataclasses import replace

from drivers.simulated import steps
from drivers.vehicle import Plan, State, VehicleSim
from monitor.planning import life_engine, whatif
from monitor.planning.candidates import setup
from monitor.planning.charging_paths import Luck
from monitor.planning.load_profile import Slot
from monitor.planning.model import as_days, make_rig
from tests.benchmarks.bench_whatif import QUARTER_S, STEP_S, Told, changed, per_30, told, true_nights_per_30, words
from tests.benchmarks.ensemble import camps

DAYS = 40.0


def trace(plan: Plan, first: int) -> list[State]:
    """The truth by quarter hours from the first on: currents as means, the rest as at the end."""
    sim, found = VehicleSim(plan), []
    currents = ("solar_current_a", "solar_possible_a", "alternator_current_a", "load_current_a")
    means = dict.fromkeys(currents, 0.0)
    for step_s in steps(sim, DAYS, STEP_S):
        state = sim.step(step_s)
        means = {name: means[name] + step_s / QUARTER_S * getattr(state, name) for name in currents}
        if state.at_s >= (len(found) + 1) * QUARTER_S - 1e-6:
            found.append(state._replace(**means))
            means = dict.fromkeys(currents, 0.0)
    return found[first:]


def _nights(one: Told, slots: list[Slot], explained: list[Slot], question: str, capacity_ah: float, whole: bool) -> float:
    """The middle answer; whole: the loads are what was served, and nothing goes off."""
    known = replace(one.known, setup=replace(one.known.setup, capacity_ah=capacity_ah))
    lived = whatif.replay(explained, one.known).charge_frac
    engine_a = whatif.usual_engine_a(explained, lived)
    serves = None if whole else whatif.serves_from(explained, lived)
    slots = whatif.engine_where_full(slots, lived)
    asked = setup(known.setup, words(one.plan, question))
    split = 1.0 if whole else whatif.P.number("split")
    rig = make_rig(replace(asked, sun_ratio=1 + (asked.sun_ratio - 1) * split), engine_a, serves, Luck(known.acceptance),
                   whatif.PREVENTED[one.known.setup.lead_acid][0], known.beyond_frac if asked.lead_acid else 0.0)
    found = life_engine.live(as_days(slots, driven=True, least_a=engine_a, refill_ratio=whatif.P.number("refill")), rig, known.start_frac)
    return per_30(found.below, len(slots))


def _oracles(before: list[State], after: list[State]) -> dict[str, Callable[[Slot, int], Slot]]:
    """Quantity -> a slot with its truth in it."""
    refill = whatif.P.number("refill")
    return {
        "as told": lambda s, k: s,
        "capacity": lambda s, k: s,
        "engine": lambda s, k: replace(s, engine_a=after[k].alternator_current_a, engine_on=False),
        "throttled sun": lambda s, k: replace(
            s, sun_a=s.sun_a - s.refilled_a + max(before[k].solar_possible_a - before[k].solar_current_a, 0.0) / refill,
            refilled_a=max(before[k].solar_possible_a - before[k].solar_current_a, 0.0) / refill),
        "prevented use": lambda s, k: replace(
            s, load_a=s.load_a + after[k].load_current_a - before[k].load_current_a, prevented_a=0.0),
    }


def main(wanted: list[str]) -> None:
    """Six vehicles of seed 0, or as many and of the seed that is asked for."""
    misses: dict[tuple[str, str], list[float]] = {}
    for plan in camps(int(wanted[0]) if wanted else 6, int(wanted[1]) if len(wanted) > 1 else 0):
        one = told(plan, DAYS)
        try:
            explained, _ = whatif.explain(one.life, one.known)
        except whatif.NotExplained as error:
            print(f"{plan.name}: {error}")
            continue
        first = one.first_quarter
        before = trace(plan, first)
        for question in ("battery x2", "battery x0.7", "sun x1.5"):
            truth = true_nights_per_30(changed(plan, question), DAYS, one.known.setup.reserve_frac, len(one.life))
            row = []
            for name, put in _oracles(before, trace(changed(plan, question), first)).items():
                slots = [put(slot, k) for k, slot in enumerate(explained)]
                size = before[0].house_capacity_ah if name == "capacity" else one.known.setup.capacity_ah
                miss = _nights(one, slots, explained, question, size, name == "prevented use") - truth
                misses.setdefault((question, name), []).append(miss)
                row.append(f"{name} {truth + miss:.1f}")
            print(f"{plan.name} {question}: true {truth:.1f}; {', '.join(row)}", flush=True)
    for (question, name), found in misses.items():
        print(f"{question:14}{name:16}mean absolute error {sum(map(abs, found)) / len(found):.2f}, mean error "
              f"{sum(found) / len(found):+.2f}, {len(found)} vehicles")


if __name__ == "__main__":
    main(sys.argv[1:])
