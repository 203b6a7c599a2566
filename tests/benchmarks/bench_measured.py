"""Scores a charge tracker on recordings of real batteries, begun at many moments, with meters and labels off.

    python -m tests.benchmarks.bench_measured [FOLDER ...] [--starts 8] [--hours 36] [--faults] [--trips] [--unlike]
                                              [--slow] [--lead] [--makes 0] [--seed 1] [--whole] [--fault NAME,NAME]
                                              [--tracker MODULE] [--jobs 1]

Without a folder it takes the recordings that are part of the tests. --slow: the branches of one cell that were measured at C/30
from -15 to 45 °C, down and up. --lead: lead-acid recordings instead of lithium ones,
and with --makes so many simulated batteries on rest curves of each other make (lead_makes). --whole: from the first reading to
the last, nothing before the second day counted. --faults: each start with every fault of label,
meters and log, else each start with none. --trips: a protection that opens. --unlike: the tracker does without what was
measured on the make at hand (only where it takes such a list). --tracker: a module; without it the estimator that serves.
Points of the true capacity: rms, share covered by the 95 % interval, its width, worst error, worst distance beyond the
interval. "before": neither full nor empty was reached in truth since the start; "full", "empty": what came last.
"""
import argparse
import importlib
import sys
import time
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from math import sqrt
from pathlib import Path
from types import ModuleType

from monitor.findings import Estimate, JoinFindings
from tests.benchmarks.lead_makes import KINDS, lives
from tests.benchmarks.measured import FAULTS, SPARSE, Fault, Recording, load_all, slow_branches, spoilt, starts, tripped, vehicle

RECORDINGS = Path(__file__).parents[1] / "recordings" / "measured"
SLOW_BRANCHES = RECORDINGS / "lfp-cell-d-slow-branches.csv"
#: Drives of physics-simulated lead-acid batteries; the half-years go on too long for many starts.
LEAD_RECORDINGS = Path(__file__).parents[1] / "recordings"
LEAD_MOST_DAYS = 30.0
#: The estimator that serves, and, where it is to do without a make, the one of them that can.
TRACKER, UNLIKE_TRACKER = "monitor.estimation.house_charge", "monitor.estimation.lithium_charge"
#: In truth: above and below these charges it has been full or empty.
FULL_FRAC, EMPTY_FRAC = 0.985, 0.03


@dataclass
class Sums:
    """Errors of many minutes, added up."""

    count: int = 0
    silent: int = 0
    squares: float = 0.0
    covered: int = 0
    width: float = 0.0
    worst: float = 0.0
    beyond: float = 0.0

    def add(self, truth: float, told: Estimate) -> None:
        self.count += 1
        self.squares += (told.value - truth) ** 2
        self.covered += told.low - 1e-9 <= truth <= told.high + 1e-9
        self.width += told.high - told.low
        self.worst = max(self.worst, abs(told.value - truth))
        self.beyond = max(self.beyond, told.low - truth, truth - told.high)

    def merge(self, other: "Sums") -> None:
        self.count, self.silent = self.count + other.count, self.silent + other.silent
        self.squares, self.covered, self.width = self.squares + other.squares, self.covered + other.covered, self.width + other.width
        self.worst, self.beyond = max(self.worst, other.worst), max(self.beyond, other.beyond)

    def line(self) -> str:
        if not self.count:
            return f"{'-':>7}{'-':>7}{'-':>7}{'-':>7}{'-':>7}{100 if self.silent else 0:8.0f}%"
        return (f"{100 * sqrt(self.squares / self.count):7.1f}{self.covered / self.count:7.3f}{100 * self.width / self.count:7.1f}"
                f"{100 * self.worst:7.1f}{100 * self.beyond:7.1f}{100 * self.silent / (self.count + self.silent):8.1f}%")


@dataclass
class Result:
    """One trial: sums by (group, phase), and what was said of the capacity once it was emptied after full or filled after empty."""

    sums: dict[tuple[str, str], Sums] = field(default_factory=lambda: defaultdict(Sums))
    capacities: list[tuple[str, float, bool]] = field(default_factory=list)
    seconds: float = 0.0
    minutes: int = 0


def _begin(tracker: ModuleType, recording: Recording, fault: Fault, unlike: bool):
    told = vehicle(recording, fault)
    return tracker.begin(told, without=(recording.make,)) if unlike else tracker.begin(told)


def run(name: str, recording: Recording, start: int, hours: float, fault: Fault, unlike: bool, skip_s: float = 0.0) -> Result:
    """One trial; what is said in its first skip_s seconds does not count."""
    tracker, told = importlib.import_module(name), vehicle(recording, fault)
    state, join, result = _begin(tracker, recording, fault, unlike), JoinFindings(), Result()
    truth = {s.at_s: (z, q) for s, z, q in zip(recording.samples, recording.charge_frac, recording.capacity_ah)}
    phase, ends, swung = "before", set(), False
    clock = time.process_time()
    last = None
    from_s = recording.samples[start].at_s + skip_s
    for minute in spoilt(recording, start, hours, fault):
        state = tracker.update(state, minute, told, join)
        found = tracker.findings(state, told)
        result.minutes += 1
        charge, capacity = truth[minute.end_s]
        if charge > FULL_FRAC or charge < EMPTY_FRAC:
            phase = "full" if charge > FULL_FRAC else "empty"
            ends.add(phase)
        if minute.end_s < from_s:
            continue
        temperature = minute.samples[-1].house_temperature_c
        warm = "no thermometer" if temperature is None else "5 °C and more" if temperature > 2 else f"{5 * round(temperature / 5):+d} °C"
        keys = [("all", phase), (recording.name, phase), (fault.name, phase), (warm, phase), (of_make(recording, fault), phase)]
        if not isinstance(found.charge_frac, Estimate):
            for key in keys:
                result.sums[key].silent += 1
            continue
        for key in keys:
            result.sums[key].add(charge, found.charge_frac)
        last = (found.capacity_ah, capacity, warm)
        swung = len(ends) == 2
    if swung and last is not None and isinstance(last[0], Estimate):
        size, true, warm = last
        result.capacities.append((warm, size.value / true - 1, size.low <= true <= size.high))
    result.seconds = time.process_time() - clock
    return result


def trip(name: str, recording: Recording, at: int, unlike: bool) -> tuple[float, float, float, str]:
    """Truth and what is told an hour and a half after the protection opened; whether it is taken for full or empty."""
    cut = tripped(recording, at)
    tracker, told, join = importlib.import_module(name), vehicle(cut, FAULTS[0]), JoinFindings()
    state = _begin(tracker, cut, FAULTS[0], unlike)
    begin = max(at - 720, 0)
    opened_s, found = cut.samples[at].at_s, None
    for minute in spoilt(cut, begin, 24.0, FAULTS[0]):
        state = tracker.update(state, minute, told, join)
        if minute.end_s > opened_s + 5400:
            found = tracker.findings(state, told)
            break
    charge = found.charge_frac if found is not None else None
    true = cut.charge_frac[at]
    if not isinstance(charge, Estimate):
        return true, float("nan"), float("nan"), ""
    wrong = "FULL" if charge.low > max(true + 0.03, 0.9) else "EMPTY" if charge.high < min(true - 0.03, 0.1) else ""
    return true, charge.low, charge.high, wrong


def table(title: str, results: list[Result], groups: list[str]) -> None:
    """Print one table: a row a group and phase."""
    print(f"\n{title}\n{'':44}{'phase':8}{'rms':>7}{'covers':>7}{'width':>7}{'worst':>7}{'beyond':>7}{'silent':>9}")
    for group in groups:
        for phase in ("before", "full", "empty"):
            total = Sums()
            for result in results:
                if (group, phase) in result.sums:
                    total.merge(result.sums[group, phase])
            if total.count or total.silent:
                print(f"{group:44}{phase:8}{total.line()}", flush=True)


def of_make(recording: Recording, fault: Fault) -> str:
    """The row of a lead-acid trial in the table by make and fault."""
    return f"{recording.make if recording.make in KINDS else 'cell model'}, {fault.name}"


def _chosen(options: argparse.Namespace) -> list[Recording]:
    """The recordings asked for, of one chemistry."""
    if options.slow:
        return [r for r in slow_branches(SLOW_BRANCHES) if options.only in r.name]
    folders = options.folders or [LEAD_RECORDINGS if options.lead else RECORDINGS]
    found = [r for r in load_all(folders) if r.battery.lead_acid is options.lead and r.samples]
    if options.lead:
        found = [r for r in found if r.samples[-1].at_s < LEAD_MOST_DAYS * 86400.0]
        found += [r for kind in KINDS for r in lives(kind, options.makes, options.seed)]
    return [r for r in found if options.only in r.name]


def main(arguments: list[str]) -> None:
    parser = argparse.ArgumentParser(prog="bench_measured")
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--starts", type=int, default=8)
    parser.add_argument("--hours", type=float, default=36.0)
    parser.add_argument("--faults", action="store_true")
    parser.add_argument("--trips", action="store_true")
    parser.add_argument("--unlike", action="store_true")
    parser.add_argument("--tracker", help="a module; without it the one that serves")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--only", default="", help="recordings whose name holds this")
    parser.add_argument("--lead", action="store_true")
    parser.add_argument("--slow", action="store_true")
    parser.add_argument("--makes", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--whole", action="store_true")
    parser.add_argument("--fault", default="", help="only faults whose name holds one of these, with commas between")
    options = parser.parse_args(arguments)
    options.tracker = options.tracker or (UNLIKE_TRACKER if options.unlike else TRACKER)
    recordings = _chosen(options)
    if not recordings:
        sys.exit(f"no recordings in {options.folders or RECORDINGS}: give a folder of them")
    faults = (*FAULTS, *SPARSE) if options.lead else FAULTS
    if options.fault:
        faults = tuple(f for f in faults if any(part in f.name for part in options.fault.split(",")))
    elif not options.faults:
        faults = faults[:1]
    if options.whole:
        trials = [(options.tracker, r, 0, float("inf"), fault, options.unlike, 86400.0) for r in recordings for fault in faults]
    else:
        trials = [(options.tracker, r, start, options.hours, fault, options.unlike, 0.0)
                  for r in recordings for start in starts(r, options.starts) for fault in faults]
    if options.jobs > 1:
        with ProcessPoolExecutor(options.jobs) as pool:
            results = list(pool.map(run, *zip(*trials)))
    else:
        results = [run(*trial) for trial in trials]
    print(f"{options.tracker}{' without the make at hand' if options.unlike else ''}: {len(recordings)} recordings, {len(trials)} trials")
    table("all", results, ["all"])
    table("by recording", results, [r.name for r in recordings])
    named = {f.name for f in faults}
    if options.lead:
        table("by make", results, [f"{make}, {f.name}" for f in faults for make in ("cell model", *KINDS)])
    warmths = {k[0] for r in results for k in r.sums if ("°C" in k[0] or "thermometer" in k[0]) and ", " not in k[0]}
    table("by temperature", results, sorted(warmths - named))
    if len(faults) > 1:
        table("by fault", results, [f.name for f in faults])
    sizes = [c for r in results for c in r.capacities]
    for warm in sorted({c[0] for c in sizes}):
        errors = [e for w, e, _ in sizes if w == warm]
        inside = [i for w, _, i in sizes if w == warm]
        print(f"capacity once it went from end to end, {warm}: rms {100 * sqrt(sum(e * e for e in errors) / len(errors)):.1f} %, "
              f"held {sum(inside)} of {len(inside)}")
    print(f"{1000 * sum(r.seconds for r in results) / max(sum(r.minutes for r in results), 1):.3f} ms a minute, findings included")
    if options.trips:
        outcomes = [trip(options.tracker, r, at, options.unlike) for r in recordings for at in starts(r, 8)[1::2]
                    if 0.05 < r.charge_frac[at] < 0.95 and abs(r.samples[at].house_current_a or 0.0) > 0.02 * r.battery.rated_capacity_ah]
        wrong = sum(bool(o[3]) for o in outcomes)
        print(f"protection opened at any charge: taken for full or empty in {wrong} of {len(outcomes)}: "
              + ", ".join(f"{100 * o[0]:.0f} told {100 * o[1]:.0f} to {100 * o[2]:.0f}" for o in outcomes))


if __name__ == "__main__":
    main(sys.argv[1:])
