"""What-if against the same life lived again: simulated weeks through daemon and log, asked, and re-simulated with the other set-up.

    python -m tests.benchmarks.bench_whatif [vehicles] [seed] [together]

The truth is the vehicle's own simulation (same seed: weather, household, drives) with another battery or panel in it, and
nights are counted on its true charge, over the same quarter hours as the life that the log tells. With "together" the other battery
is as full as the present one when that life begins, as the answer has it; else it has lived the days before, too.
"""
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from drivers.simulated import history, steps
from drivers.vehicle import Plan, VehicleSim
from monitor import pipeline
from monitor.battery.label import Vehicle
from monitor.logbook.reader import Reader
from monitor.planning import from_log, whatif
from monitor.planning.candidates import setup
from monitor.planning.load_profile import SLOT_H, LoggedSlot
from monitor.process.daemon import Daemon
from tests.benchmarks.ensemble import camps, owner
from tests.hand_clock import HandClock
from tests.vehicle_by_hand import Instrument

DAY_S, QUARTER_S, STEP_S = 86400.0, 900.0, 240.0
#: What the quarter hours of a log and the battery that is known rest on.
PARTS = pipeline.with_dependencies({"charge", "loads", "counts"})
#: what is asked -> goal for the mean absolute error of nights below the reserve in 30 days
QUESTIONS = {"as it is": 0.5, "battery x2": 0.5, "battery x0.7": 0.5, "sun x1.5": 0.8}


@dataclass(frozen=True)
class Told:
    """What a log told of a vehicle's weeks."""

    plan: Plan
    vehicle: Vehicle
    life: list[LoggedSlot]
    known: whatif.KnownBattery
    first_quarter: int      # of the days that the life begins with


def told(plan: Plan, days: float) -> Told:
    """The weeks as the daemon logs them, read back as `ampledger whatif` does."""
    vehicle = owner(plan, 0.2 if plan.house.chemistry == "lfp" else 0.5)
    begins_utc_s = 1.8e9 - 1.8e9 % DAY_S
    with tempfile.TemporaryDirectory() as folder:
        database = Path(folder) / "ampledger.db"
        daemon = Daemon(database, vehicle, (Instrument("simulated"),), clock=HandClock(), begin=pipeline.begin,
                        step=partial(pipeline.step, parts=PARTS), simulated=True, begins_utc_s=begins_utc_s)
        daemon.past(history(plan, days, STEP_S))
        daemon.close()
        reader = Reader(database)
        now = reader.now()
        rows = list(reader.rows_of_level("quarters"))
        life, known = from_log.describe_present(rows, now.vehicle, now.findings.charge,
                                                now.findings.charge.capacity_ah)
    return Told(plan, vehicle, life, known, round((rows[-1][1] - begins_utc_s) / QUARTER_S) - len(life))


def changed(plan: Plan, question: str) -> Plan:
    """The vehicle with what is asked about; a new battery holds what its label says."""
    size = {"battery x2": 2.0, "battery x0.7": 0.7}.get(question)
    if size:
        return replace(plan, house=replace(plan.house, label_ah=size * plan.house.label_ah, true_capacity_frac=1.0))
    return replace(plan, panel_w=1.5 * plan.panel_w) if question == "sun x1.5" else plan


def words(plan: Plan, question: str) -> str:
    """The same as the owner asks it."""
    size = {"battery x2": 2.0, "battery x0.7": 0.7}.get(question)
    return f"capacity={size * plan.house.label_ah:.1f}" if size else "sun=1.5"


def per_30(nights: int, quarters: int) -> float:
    """Nights of so many quarter hours in 30, as the answer counts them, to the last bit."""
    return min(nights * (30 / (quarters * SLOT_H / 24)), 30.0)


def true_nights_per_30(plan: Plan, days: float, reserve_frac: float, quarters: int, like: Plan | None = None) -> float:
    """Nights, noon to noon, in which the true charge was below the reserve, over the last quarters of the days; like: the vehicle whose
    charge it has when they begin, None: what it has lived to."""
    sim, from_s = VehicleSim(plan), days * DAY_S - quarters * QUARTER_S
    other = VehicleSim(like) if like else None
    low, below, noons = 1.0, 0, 0
    for step_s in steps(sim, days, STEP_S):  # other steps would draw another weather
        state = sim.step(step_s)
        if state.at_s <= from_s:
            noons = int(state.at_s / DAY_S + 0.5)
            if other:
                sim.house.drawn_ah = (1.0 - other.step(step_s).house_soc_frac) * sim.house.capacity_ah
            continue
        if int(state.at_s / DAY_S + 0.5) > noons:
            noons += 1
            below += low < reserve_frac
            low = 1.0
        low = min(low, state.house_soc_frac)
    return per_30(below, quarters)


def answered(one: Told, days: float, together: bool = False) -> Iterator[tuple[str, float, whatif.CandidateResult]]:
    """Each question with its truth and the answer; together: the other battery begins as full as the present one.

    Raises
    ------
    NotExplained : the log does not explain the battery, so nothing is answered
    """
    slots, rms = whatif.explain(one.life, one.known)
    asked = list(QUESTIONS)[1:]
    every = whatif.ask(slots, one.known, [setup(one.known.setup, words(one.plan, q)) for q in asked], rms)
    for question, answer in zip(QUESTIONS, every, strict=True):
        yield question, true_nights_per_30(changed(one.plan, question), days, one.known.setup.reserve_frac, len(one.life),
                                           one.plan if together else None), answer


def main(wanted: list[str]) -> None:
    """Eight vehicles, or as many as asked for, over forty days."""
    weigh(int(wanted[0]) if wanted else 8, seed=int(wanted[1]) if len(wanted) > 1 else 0, together="together" in wanted)


def weigh(count: int, days: float = 40.0, seed: int = 0, together: bool = False) -> None:
    """Prints a row for each vehicle, then mean absolute error, mean error and coverage of each question."""
    misses: dict[str, list[float]] = {question: [] for question in QUESTIONS}
    inside = dict.fromkeys(QUESTIONS, 0)
    stopped = 0
    for plan in camps(count, seed):
        begun = time.process_time()
        one = told(plan, days)
        try:
            rows = list(answered(one, days, together))
        except whatif.NotExplained as error:
            stopped += 1
            print(f"{plan.name}: {plan.house.chemistry} {plan.house.label_ah:.0f} Ah: {error}", flush=True)
            continue
        text = []
        for question, truth, answer in rows:
            nights = answer.nights_below_per_30
            misses[question].append(nights.value - truth)
            inside[question] += nights.low - 1e-9 <= truth <= nights.high + 1e-9
            text.append(f"{question} {truth:.1f} told {nights.value:.1f} ({nights.low:.1f} to {nights.high:.1f})")
        print(f"{plan.name}: {plan.house.chemistry} {plan.house.label_ah:.0f} Ah, {len(one.life) / 96:.0f} days: {'; '.join(text)}"
              f"  [{time.process_time() - begun:.0f} s]", flush=True)
    print(f"{'nights below the reserve in 30 days':36} {'mean abs. error':>15} {'goal':>5} {'mean error':>10} {'in the interval':>16}")
    for question, goal in QUESTIONS.items():
        errors = misses[question]
        if errors:
            print(f"{question:36} {sum(map(abs, errors)) / len(errors):15.2f} {goal:5.1f} {sum(errors) / len(errors):+10.2f} "
                  f"{inside[question]:9} of {len(errors)}")
    print(f"stopped because the log did not explain the battery: {stopped} of {count}")


if __name__ == "__main__":
    main(sys.argv[1:])
