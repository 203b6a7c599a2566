"""Who took the charge, on simulated vehicles with known loads: the fridge's ampere-hours a day at three spacings.

    python -m tests.benchmarks.bench_loads [VEHICLES] [DAYS] [STEP_S ...]
"""
import sys
import time

from monitor.findings import ChargeFindings, Estimate, JoinFindings, NotYet
from monitor.sampling.gather import minutes
from monitor.usage import loads
from tests.benchmarks.ensemble import camps, journey, owner, vehicles

UNKNOWN = NotYet("not part of this benchmark")


def live(plan, step_s: float, days: float):
    """Run the loads tracker through a journey; its findings and the truth's means of the last half of the days."""
    vehicle = owner(plan)
    held = loads.begin()
    truths = {}

    def samples():
        for sample, state in journey(plan, step_s, days):
            truths[sample.at_s] = state
            yield sample

    totals = {"fridge": 0.0, "load": 0.0, "sun": 0.0}
    spent, steps, counted = 0.0, 0, 0
    for minute in minutes(samples()):
        state = truths[minute.end_s]
        charge = ChargeFindings(
            Estimate(state.house_soc_frac, state.house_soc_frac - 0.03, state.house_soc_frac + 0.03, "counting"),
            UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN, Estimate(plan.sensor.current_offset_a, -0.1, 0.1, "learnt"))
        join = JoinFindings(engine="running" if state.engine_running else "off")
        started = time.process_time()
        held = loads.update(held, minute, vehicle, join, charge)
        spent += time.process_time() - started
        steps += 1
        if minute.end_s > days / 2 * 86400:
            for sample in minute.samples:
                truth = truths[sample.at_s]
                totals["fridge"] += truth.fridge_current_a * step_s / 3600
                totals["load"] += truth.load_current_a * step_s / 3600
                totals["sun"] += truth.solar_possible_a * step_s / 3600
                counted += 1
        for sample in minute.samples:
            del truths[sample.at_s]
    per_day = 86400 / (counted * step_s)
    return loads.findings(held), {k: v * per_day for k, v in totals.items()}, 1e6 * spent / steps, held


def _value(answer) -> float:
    return answer.value if isinstance(answer, Estimate) else float("nan")


def main(arguments: list[str]) -> None:
    count = int(arguments[0]) if arguments else 6
    days = float(arguments[1]) if len(arguments) > 1 else 8.0
    for step_s in [float(a) for a in arguments[2:]] or [30.0, 120.0]:
        print(f"every {step_s:.0f} s: fridge true, found (low, high) | load true, found | sun true, found | rest")
        errors, inside, cost = [], 0, []
        plans = [*vehicles("lead healthy", count // 2, seed=5), *camps(count - count // 2, seed=5)]
        for plan in plans:
            found, truth, us, held = live(plan, step_s, days)
            shares, cost = found.shares, [*cost, us]
            took = shares.fridge_ah_per_day
            if isinstance(took, Estimate):
                errors.append(took.value / truth["fridge"] - 1)
                inside += took.low <= truth["fridge"] <= took.high
            low, high = (took.low, took.high) if isinstance(took, Estimate) else (0, 0)
            print(f"  {plan.name:18s} {truth['fridge']:6.1f} {_value(took):6.1f} ({low:5.1f} {high:5.1f}) A "
                  f"{_value(shares.fridge_a):4.1f} true {plan.fridge_a:4.1f} duty {_value(shares.fridge_duty_frac):.2f}"
                  f" | {truth['load']:6.1f} {_value(shares.load_ah_per_day):6.1f} | {truth['sun']:6.1f} "
                  f"{_value(shares.harvest_ah_per_day):6.1f} | base {_value(shares.base_a):.2f} evening "
                  f"{_value(shares.evening_ah_per_day):.1f} bursts {_value(shares.bursts_ah_per_day):.1f} rest "
                  f"{_value(shares.rest_ah_per_night):.1f}", flush=True)
        size = sorted(abs(e) for e in errors)
        print(f"  fridge found on {len(errors)} of {len(plans)}; |error| median {100 * size[len(size) // 2]:.1f} %, "
              f"worst {100 * size[-1]:.1f} %, inside the interval {inside}; {sum(cost) / len(cost):.0f} us a minute")


if __name__ == "__main__":
    main(sys.argv[1:])
