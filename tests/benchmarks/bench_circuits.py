"""Circuits at random from a seed of one's own, each calculated again by a heat balance and by the adiabatic law.

Run by hand: python -m tests.benchmarks.bench_circuits COUNT SEED
"""
import sys
from math import exp

from monitor.circuits.tables import FUSE_CLASSES
from tests.circuits.heat_balance import ALPHA, RHO, steady_c
from tests.circuits.test_random_circuits import HEAT_J_PER_MM3_K, circuits

FINAL_C = {60: 160, 75: 160, 80: 160, 90: 250, 105: 160, 125: 250}


def main(arguments: list[str]) -> None:
    """The hottest of each kind against what its insulation bears [K], and how many are above it."""
    count, seed = (int(word) for word in (*arguments, *("500", "1")[len(arguments):]))
    loaded: list[float] = []
    at_fuse: list[float] = []
    shorted: list[float] = []
    for plan in circuits(seed, count):
        c = plan.circuit
        top = FINAL_C[max(class_c for class_c in FINAL_C if class_c <= c.insulation_c)]
        for run in (plan.run, plan.american_run):
            if run is None:
                continue
            loaded.append(steady_c(run.area_mm2, c.current_a, plan.air_c, c.loaded_count, c.laid) - c.insulation_c)
            at_fuse.append(steady_c(run.area_mm2, run.fuse.rating_a, plan.air_c, c.loaded_count, c.laid) - c.insulation_c)
            for ratio, seconds in next(kind for kind in FUSE_CLASSES if kind.name == run.fuse.kind).fast:
                heating = (ratio * run.fuse.rating_a / run.area_mm2) ** 2 * RHO / 1.03 / 1000 / HEAT_J_PER_MM3_K
                hot_c = (exp(heating * ALPHA * seconds) * (1 + ALPHA * (run.copper_c - 20)) - 1) / ALPHA + 20
                shorted.append(hot_c - top)
    print(f"{count} circuits of seed {seed}, {len(loaded)} conductors")
    for what, over_k in (("at the load", loaded), ("at the fuse's rating", at_fuse), ("after a short circuit", shorted)):
        print(f"{what}: {sum(k > 0 for k in over_k)} above the insulation, the hottest at {max(over_k):+.1f} K")


if __name__ == "__main__":
    main(sys.argv[1:])
