"""Scores of engine, isolator and path over random outings: states, faults found, false alarms, resistance."""
from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np

from monitor.detection.join import isolator
from monitor.detection.starter import starter
from monitor.findings import Estimate
from monitor.sampling.gather import minutes
from tests.benchmarks import outings
from tests.benchmarks.outings import Fault, Outing, Rig

#: (join, alternator) of the kinds of vehicle that are drawn.
KINDS = (("engine", "plain"), ("voltage", "plain"), ("dual", "plain"), ("dc_dc", "plain"), ("engine", "smart"),
         ("dc_dc", "smart"))
STUCK_CLOSED_GOAL_H = 8.0
TOLD = ("", " (owner said what opens the relay)")


@dataclass
class Lived:
    """What the trackers said of one outing, against the truth."""

    judged: int = 0                 # minutes further than 30 s (one reading where they are rarer) from a change
    engine_known: int = 0
    engine_right: int = 0
    isolator_known: int = 0
    isolator_right: int = 0
    wrong: Counter = field(default_factory=Counter)
    raised: list[tuple[float, str]] = field(default_factory=list)
    path: Estimate | None = None
    build: str = ""
    days: float = 0.0


def live(rig: Rig, outing: Outing) -> Lived:
    """Run isolator and starter trackers over an outing, minute by minute."""
    vehicle, out = rig.vehicle, Lived()
    join_held, held = isolator.begin(), starter.begin()
    truth = {s.at_s: (r, c) for s, r, c in zip(outing.samples, outing.running, outing.closed)}
    times = sorted(truth)
    changed_s = [b for a, b in zip(times, times[1:]) if truth[a] != truth[b]] + [t for run in outing.drives for t in run]
    changed = np.array(sorted(changed_s) or [-1e9])
    clear_s = max(30.0, rig.spacing_s) + 1
    active: set[str] = set()
    for minute in minutes(outing.samples):
        join_held = isolator.update(join_held, minute, vehicle)
        join = isolator.findings(join_held, vehicle)
        held = starter.update(held, minute, vehicle, join)
        conditions = (*isolator.conditions(join_held, vehicle), *starter.conditions(held, vehicle))
        now = {c.kind for c in conditions if c.active}
        out.raised += [(minute.end_s, kind) for kind in now - active]
        active = now
        place = np.searchsorted(changed, minute.end_s)
        nearest = min(abs(changed[max(0, place - 1)] - minute.end_s),
                      abs(changed[min(place, len(changed) - 1)] - minute.end_s))
        if nearest <= clear_s or minute.end_s < 900:
            continue
        running, closed = truth[minute.samples[-1].at_s]
        out.judged += 1
        out.engine_known += join.engine != "unknown"
        out.isolator_known += join.isolator != "unknown"
        right = join.engine == ("running" if running else "off")
        joined = join.isolator == ("closed" if closed else "open")
        out.engine_right += right
        out.isolator_right += joined
        truth_words = f"{'running' if running else 'off'}/{'closed' if closed else 'open'}"
        if not right:
            out.wrong[f"{truth_words}: engine {join.engine}"] += 1
        if not joined:
            out.wrong[f"{truth_words}: isolator {join.isolator}"] += 1
    found = isolator.findings(join_held, vehicle)
    out.path = found.path_resistance_ohm if isinstance(found.path_resistance_ohm, Estimate) else None
    out.build, out.days = found.build, times[-1] / 86400
    return out


def healthy(seed: int, each: int, days: float, told: bool = False) -> None:
    """States and path resistance of sound vehicles, and what they were falsely accused of."""
    print(f"sound outings{TOLD[told]}, {each} vehicles a row of {days:g} days: state right of time known / unknown, "
          "path error, false alarms")
    everything: Counter = Counter()
    total_days = 0.0
    for k, (join, alternator) in enumerate(KINDS):
        sums, wrong, said, errors, builds = np.zeros(5), Counter(), Counter(), [], Counter()
        for i in range(each):
            rng = np.random.default_rng((seed, k, i))
            rig = replace(outings.rig(rng, join, alternator), told=told)
            lived = live(rig, outings.outing(rng, rig, days))
            sums += (lived.judged, lived.engine_known, lived.engine_right, lived.isolator_known, lived.isolator_right)
            wrong += lived.wrong
            said += Counter(kind for _, kind in lived.raised)
            builds[lived.build] += 1
            total_days += lived.days
            if lived.path is not None and join != "dc_dc":
                errors.append((abs(lived.path.value - rig.path_ohm), rig.path_ohm,
                               lived.path.low <= rig.path_ohm <= lived.path.high))
        everything += said
        judged, *rest = sums
        known_e, right_e, known_i, right_i = rest
        fit = [e <= max(0.0015, 0.08 * r) for e, r, _ in errors]
        path = "" if not errors else (f"path {1000 * np.median([e for e, *_ in errors]):.2f} mOhm median, "
                                      f"{np.mean(fit):.0%} within goal, interval holds "
                                      f"{np.mean([h for *_, h in errors]):.0%} of {len(errors)}  ")
        print(f"  {join:8s}{alternator:6s} engine {right_e / known_e:7.2%} / {1 - known_e / judged:6.2%}  "
              f"isolator {right_i / known_i:7.2%} / {1 - known_i / judged:6.2%}  {path}build {dict(builds)}  "
              f"false {dict(said) or 'none'}", flush=True)
        if wrong:
            print("      most often: " + ", ".join(f"{w} {n / judged:.2%}" for w, n in wrong.most_common(4)))
    print(f"  all: {total_days / 365:.2f} years; false a year: "
          + (", ".join(f"{k} {n * 365 / total_days:.2f}" for k, n in everything.items()) or "none"))


def _rhythm(rng: np.random.Generator, days: float) -> tuple[tuple[float, float], ...]:
    """A drive or two a day, so that a fault has runs to show in."""
    runs = []
    for day in range(int(days)):
        at_s = day * 86400 + rng.uniform(7, 11) * 3600
        runs.append((at_s, at_s + rng.uniform(1500, 7000)))
        if rng.random() < 0.6:
            at_s = day * 86400 + rng.uniform(15, 19) * 3600
            runs.append((at_s, at_s + rng.uniform(500, 5000)))
    return tuple(runs)


def faults(seed: int, each: int, told: bool = False) -> None:
    """When each fault was named, and what else was said."""
    print(f"faults{TOLD[told]}, {each} vehicles a row: named after, and what else was said before or after; stuck closed counts "
          "from the moment at which a sound relay lets go")
    for k, (kind, join, alternator) in enumerate((
        ("stuck_closed", "engine", "plain"), ("stuck_closed", "voltage", "plain"), ("stuck_closed", "dual", "plain"),
        ("stuck_closed", "engine", "smart"),
        ("stuck_open", "engine", "plain"), ("stuck_open", "voltage", "plain"), ("stuck_open", "dual", "plain"),
        ("stuck_open", "dc_dc", "plain"), ("intermittent", "engine", "plain"), ("intermittent", "voltage", "plain"),
        ("path", "engine", "plain"), ("drain", "engine", "plain"), ("drain", "dc_dc", "plain"),
    )):
        delays, early, others = [], 0, Counter()
        for i in range(each):
            rng = np.random.default_rng((seed, 100 + k, i))
            rig = replace(outings.rig(rng, join, alternator), told=told)
            delay, before, besides = _one_fault(rng, rig, kind)
            delays.append(delay)
            early += before
            others += besides
        unit = {"stuck_closed": "h", "drain": "h", "stuck_open": "runs", "intermittent": "h",
                "path": "runs"}[kind]
        q50, q90 = np.quantile(delays, [0.5, 0.9], method="inverted_cdf")
        goal = {"stuck_closed": STUCK_CLOSED_GOAL_H, "stuck_open": 2, "drain": 20}.get(kind)
        met = f"within goal {np.mean(np.array(delays) <= goal):4.0%}" if goal else ""
        print(f"  {kind:13s}{join:8s}{alternator:6s} median {q50:5.1f}  90 % {q90:5.1f} {unit}  {met}  "
              f"missed {np.sum(np.isinf(delays))}/{each}  early {early}  else {dict(others) or 'none'}", flush=True)


EXPECTED = {"stuck_closed": "isolator_stuck_closed", "stuck_open": "isolator_stuck_open",
            "intermittent": "isolator_intermittent", "path": "path_resistance_grown", "drain": "starter_drain"}
#: True in their way while such a fault lasts: the batteries do run down.
MAY_FOLLOW = {"starter_low", "will_not_start", "starter_under_voltage", "starter_freeze_risk"}


def _one_fault(rng: np.random.Generator, rig: Rig, kind: str) -> tuple[float, bool, Counter]:
    """Hours (or runs of five minutes and more) until it was named, whether too early, and what else was said."""
    runs = _rhythm(rng, 4)
    amount = 0.0
    if kind == "drain":
        from_s, amount, days = runs[-1][1] + rng.uniform(14, 40) * 3600, rng.uniform(0.15, 0.22), 7.5
    elif kind == "path":
        runs, days, amount = _rhythm(rng, 24), 24.0, rng.uniform(1.7, 2.5)
        from_s = runs[len(runs) // 2][0] - 600
    elif kind == "stuck_closed":        # welded during the last drive
        from_s, days = runs[-1][1] - 300, 6.0
    else:
        runs, days = _rhythm(rng, 8), 8.0
        from_s, amount = runs[int(rng.integers(3, 6))][0] - 600, rng.uniform(100, 400)
    outing = outings.outing(rng, rig, days, runs, Fault(kind, from_s, amount))
    lived = live(rig, outing)
    wanted = EXPECTED[kind]
    named = [t for t, k in lived.raised if k == wanted]
    others = Counter(k for t, k in lived.raised if k != wanted and k not in MAY_FOLLOW)
    after = [t for t in named if t >= from_s]
    early = len(after) < len(named)
    if not after:
        return np.inf, early, others
    begun_s = runs[-1][1] if kind == "stuck_closed" else from_s
    if kind == "stuck_closed" and rig.join != "engine":     # a sound relay of this kind holds on until here as well
        begun_s = next((s.at_s for s in outing.samples if s.at_s > begun_s + 60
                        and s.starter_voltage_v < rig.open_v), begun_s)
    if kind in ("stuck_open", "path"):
        return float(sum(b - a >= 300 and a >= from_s and a <= after[0] for a, b in runs)), early, others
    return (after[0] - begun_s) / 3600, early, others


def death(rng: np.random.Generator, join: str, alone: bool) -> tuple[Rig, Outing, float, float]:
    """A vehicle whose alternator dies within a drive that goes on for one to three hours: rig, outing, when it dies, when it stops [s].

    rng: where chance comes from; join: what joins its batteries; alone: nothing was driven before, else for two days.
    """
    rig = outings.rig(rng, join)
    before = () if alone else tuple(run for run in outings.drives(rng, 2.0) if run[1] < 40 * 3600)
    from_s = rng.uniform(2, 14) * 3600 if alone else rng.uniform(44, 58) * 3600
    dies_s = from_s + rng.uniform(0.3, 1.5) * 3600
    stops_s = dies_s + rng.uniform(1, 3) * 3600
    runs = (*before, (from_s, stops_s))
    return rig, outings.outing(rng, rig, (stops_s + 10800) / 86400, runs, Fault("alternator", dies_s)), dies_s, stops_s


def deaths(seed: int, each: int) -> None:
    """When an alternator that died under way with the batteries joined was told, and what else was said after."""
    print(f"alternator dies under way, {each} vehicles a row: told, and how long after")
    for k, join in enumerate(("engine", "voltage", "dual")):
        after, others = [], Counter()
        for i in range(each):
            rig, outing, dies_s, stops_s = death(np.random.default_rng((seed, 200 + k, i)), join, i % 2 == 0)
            raised = live(rig, outing).raised
            told = [t for t, kind in raised if kind == "alternator_not_charging"]
            others += Counter(kind for t, kind in raised if t > dies_s and kind not in MAY_FOLLOW | {"alternator_not_charging"})
            after += [(t - dies_s) / 60 for t in told[:1] if dies_s < t < stops_s]
            others["told before"] += bool(told) and told[0] < dies_s
        q50 = f"{np.median(after):.0f} min" if after else "-"
        print(f"  {join:8s} under way {len(after)} of {each}, within the hour {sum(m < 60 for m in after)}, median {q50}  "
              f"else {dict(+others) or 'none'}", flush=True)


def heavy(seed: int, count: int, days: float) -> int:
    """How many sound vehicles, whose houses draw 3 to 25 A after each stop and whose relays let go late, are accused."""
    accused = 0
    for i in range(count):
        rng = np.random.default_rng((seed, 300, i))
        rig = outings.rig(rng, ("voltage", "dual", "engine")[i % 3])
        rig = replace(rig, open_v=rig.open_v - rng.uniform(0.0, 0.35))
        lived = live(rig, outings.outing(rng, rig, days, _rhythm(rng, days), Fault("heavy", 0.0, rng.uniform(3, 25))))
        accused += any(kind == "alternator_not_charging" for _, kind in lived.raised)
    return accused
