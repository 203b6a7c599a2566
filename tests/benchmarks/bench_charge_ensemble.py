"""Scores the charge tracker on vehicles of the ensemble, per class: error, coverage, capacity, offset.

    python -m tests.benchmarks.bench_charge_ensemble [VEHICLES_PER_CLASS] [SEED] [DAYS] [CLASS ...]

Thirty vehicles of each class take half an hour on two cores. Columns as in bench_charge; a row is a class.
"""
import sys
from concurrent.futures import ProcessPoolExecutor
from math import isnan

from drivers.vehicle import Plan
from tests.benchmarks.bench_charge import Drive, score
from tests.benchmarks.ensemble import CASES, journey, owner, vehicles

COLUMNS = ("rmse", "counter", "pre", "post", "bias", "cov", "cov_pre", "width", "beyond", "cap_err", "cap_in", "off_ma", "off_in")


def lived(plan: Plan, step_s: float = 60.0) -> Drive:
    """A vehicle's journey as a drive that can be scored."""
    samples, truth, too_much_a = [], [], []
    for sample, state in journey(plan, step_s):
        samples.append(sample)
        if sample.house_current_a is not None:
            too_much_a.append(sample.house_current_a - plan.sensor.current_gain * state.house_current_a)
        truth.append((sample.at_s, min(max(state.house_soc_frac, 0.0), 1.0), state.house_capacity_ah))
    facts = {"days": plan.days, "rated_ah": plan.house.label_ah,
             "true_capacity_ah": plan.house.label_ah * plan.house.true_capacity_frac,
             # on average: it moves with temperature. What the battery's own electronics draw behind the shunt cannot be
             # told from it, and belongs to it
             "sensor": {"i_off": sum(too_much_a) / len(too_much_a) + plan.house.own_use_a}}
    return Drive(plan.name, facts, owner(plan), samples, truth)


def figures(plan: Plan) -> dict:
    """One vehicle scored."""
    return score(lived(plan))


def table(results: list[dict]) -> dict[str, float]:
    """Means over the vehicles of a class: sizes of errors for what has a sign, the worst for what lies beyond."""
    row = {}
    for column in COLUMNS:
        values = [r[column] for r in results if not isnan(r[column])]
        if column in ("cap_err", "off_ma"):
            values = [abs(v) for v in values]
        row[column] = (max(values) if column == "beyond" else sum(values) / len(values)) if values else float("nan")
    return row


def main(arguments: list[str]) -> None:
    count, seed, days = (int(a) for a in (arguments[:3] + ["2", "2024", "14"][len(arguments):]))
    wanted = [c for c in CASES if not arguments[3:] or c in arguments[3:]]
    print(f"{count} vehicles a class, seed {seed}, {days} days")
    print(f"{'class':15s}" + "".join(f"{c:>9s}" for c in COLUMNS))
    with ProcessPoolExecutor(2) as pool:
        for case in wanted:
            results = list(pool.map(figures, vehicles(case, count, seed, float(days))))
            print(f"{case:15s}" + "".join(f"{v:9.2f}" for v in table(results).values()), flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
