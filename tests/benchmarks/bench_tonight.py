"""Tonight's forecast on an ensemble of camps, against charge / mean current of 24 h and the mean hourly profile.

    python -m tests.benchmarks.bench_tonight [VEHICLES] [DAYS] [FIRST_SEED] [RESERVE]

With a RESERVE (0.2, 0.5) the camps are those of the simulated vehicle, otherwise those of camps.py. The
charge that the forecast starts from is the truth with an error as large as it is said to be.
"""
import sys
import time
from dataclasses import dataclass, field

import numpy as np

from monitor.battery.label import Battery, Vehicle
from monitor.findings import ChargeFindings, Estimate, JoinFindings, NotYet
from monitor.forecast import forecast
from monitor.sample import Minute
from monitor.usage import loads
from tests.benchmarks.camps import STEP_S, Camp, camp
from tests.benchmarks.ensemble import camps, journey
from tests.posteriors import of_normal

SPAN = 5                # minutes that are given as one
SIGMA_CHARGE, SIGMA_CAPACITY = 0.025, 0.06
SHOW = "-v" in sys.argv
UNKNOWN = NotYet("not part of this benchmark")


@dataclass
class Issue:
    """One hourly forecast beside the truth."""

    camp: int
    at_s: float
    probability: float
    reserve_in_s: float | None
    low_s: float | None
    high_s: float | None
    lowest: tuple[float, float, float]
    charge_frac: float


@dataclass
class Message:
    """One message of the evening: when, the probability it told, and whether it was a warning or a heads-up."""

    at_s: float
    probability: float
    warning: bool


@dataclass
class Lived:
    """One camp lived through by the trackers."""

    truth: Camp
    issues: list[Issue]
    events: list
    seconds: float
    steps: int
    drawn_ah: list      # (t, charge found, capacity found, mean current of 24 h before)
    loads_held: loads.LoadsState
    days: list          # (end of a day [s], what is said of loads and sun then)


def live(number: int, truth: Camp, clock: bool = True, seed: int = 0, span: int = SPAN) -> Lived:
    """Run loads and forecast through a camp with a charge that is known as well as stated, so many minutes at a time."""
    rng = np.random.default_rng(seed + 7)
    vehicle = Vehicle(
        Battery("house", "agm" if truth.lead_acid else "lfp", truth.rated_ah, reserve_soc_frac=truth.reserve_frac,
                absorption_v=14.4 if truth.lead_acid else 14.2), Battery("starter", "agm", 60.0))
    capacity = truth.capacity_ah * float(np.exp(rng.normal(0, SIGMA_CAPACITY)))
    held, ahead = loads.begin(), forecast.begin()
    wander, issues, events, drawn, days = rng.normal(0, SIGMA_CHARGE), [], [], [], []
    n = len(truth.t_s) // span
    shape = (n, span)
    current = truth.current_a[:n * span].reshape(shape).mean(1)
    voltage = truth.voltage_v[:n * span].reshape(shape).mean(1)
    warm = truth.temperature_c[:n * span].reshape(shape).mean(1)
    engine = truth.engine[:n * span].reshape(shape).any(1)
    charge_frac = truth.charge_frac[:n * span].reshape(shape)[:, -1]
    keep = float(np.exp(-span * STEP_S / (12 * 3600)))
    noise = rng.normal(0, SIGMA_CHARGE * (1 - keep**2) ** 0.5, n)
    charge = None
    started = time.process_time()
    for i in range(n):
        end_s = (i + 1) * span * STEP_S * 1.0
        wander = keep * wander + noise[i]
        z = min(max(float(charge_frac[i]) + wander, 0.0), 1.0)
        minute = Minute(
            end_s - span * STEP_S, end_s, (), covered_s=span * STEP_S, house_current_a=float(current[i]),
            house_voltage_v=float(voltage[i]), house_temperature_c=round(float(warm[i]), 1),
            hour=(end_s / 3600) % 24 if clock else None)
        charge = ChargeFindings(
            Estimate(z, z - 1.96 * SIGMA_CHARGE, z + 1.96 * SIGMA_CHARGE, "counting"),
            Estimate(capacity, capacity * (1 - 1.96 * SIGMA_CAPACITY), capacity * (1 + 1.96 * SIGMA_CAPACITY),
                     "learnt"),
            UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN, posterior=of_normal(z, SIGMA_CHARGE, capacity, SIGMA_CAPACITY))
        held = loads.update(held, minute, vehicle, JoinFindings(engine="running" if engine[i] else "off"), charge)
        ahead = forecast.update(ahead, minute, vehicle, charge, held)
        if ahead.evening.said_s == end_s and forecast.conditions(ahead)[0].active:
            events.append(Message(end_s, ahead.evening.said, ahead.evening.high))
        if end_s % 3600 == 0:
            found = forecast.findings(ahead)
            issues.append(Issue(
                number, end_s, found.probability_before_sun, found.reserve_in_s, found.reserve_in_low_s,
                found.reserve_in_high_s, (found.lowest_low_frac, found.lowest_frac, found.lowest_high_frac),
                float(charge_frac[i])))
            day = current[max(i - 86400 // (span * STEP_S), 0):i + 1]
            drawn.append((z, capacity, float(day.mean())))
        if end_s % 86400 == 0:
            days.append((end_s, loads.findings(held)))
    return Lived(truth, issues, events, time.process_time() - started, n, drawn, held, days)


def simulated(count: int, days: int, seed: int, reserve_frac: float):
    """Camps of the simulated vehicle, as arrays; the sensors' own errors stay in the readings."""
    for plan in camps(count, seed, days):
        rows, last = [], (12.7, 0.0)
        for sample, state in journey(plan, float(STEP_S), float(days)):
            last = (sample.house_voltage_v or last[0],
                    last[1] if sample.house_current_a is None else sample.house_current_a)
            rows.append((sample.at_s, last[1] - plan.sensor.current_offset_a, last[0], state.house_temperature_c,
                         state.engine_running, min(max(state.house_soc_frac, 0.0), 1.0), state.load_current_a,
                         state.solar_possible_a, state.fridge_current_a))
        t, a, v, warm, engine, z, load, sun, fridge = (np.array(column, float) for column in zip(*rows, strict=True))
        yield Camp(
            plan.house.label_ah * plan.house.true_capacity_frac, plan.house.label_ah, plan.house.chemistry != "lfp",
            reserve_frac, 12.0, t - STEP_S, a, v, warm, engine > 0, z, load, sun, fridge, plan.bedtime_hour)


@dataclass
class Night:
    """What a night came to."""

    at_s: float
    sun_s: float
    reached_s: float | None
    lowest: float


def night(truth: Camp, at_s: float) -> Night:
    """From a moment of the evening to when the sun carries the load for half an hour, at latest two hours past noon."""
    i = int(at_s / STEP_S)
    noon = truth.clock_noon_hour
    day = at_s // 86400 + (1 if (at_s / 3600) % 24 > noon else 0)
    latest = int((day * 24 + noon + 2) * 3600 / STEP_S)
    first = int((day * 24 + noon - 12) * 3600 / STEP_S)
    carried = (truth.sun_a - truth.load_a)
    half = 1800 // STEP_S
    sun = latest
    for k in range(max(first, i), latest - half, 5):
        if carried[k:k + half].mean() > 0:
            sun = k
            break
    span = truth.charge_frac[i:sun + 1]
    below = np.nonzero(span < truth.reserve_frac)[0]
    return Night(at_s, sun * STEP_S, (i + below[0]) * STEP_S if len(below) else None, float(span.min()))


def profile_says(lived: Lived, k: int) -> bool:
    """The mean hourly profile of the days before, run forward without any doubt."""
    truth, issue = lived.truth, lived.issues[k]
    z, capacity, _ = lived.drawn_ah[k]
    i = int(issue.at_s / STEP_S)
    per_day, per_hour = 86400 // STEP_S, 3600 // STEP_S
    days = min(i // per_day, 21)
    if days < 1:
        return False
    net = truth.current_a[i - days * per_day:i].reshape(days, per_day).mean(0)
    steps = int((night(truth, issue.at_s).sun_s - issue.at_s) / 3600) + 1
    for h in range(steps):
        z = min(z + net[h * per_hour % per_day:][:per_hour].mean() / capacity, 1.0)
        if z < truth.reserve_frac:
            return True
    return False


@dataclass
class Tally:
    """What an ensemble of camps came to, counted camp by camp."""

    rows: list = field(default_factory=list)         # each evening: probability said, whether it came, day
    simple: list = field(default_factory=list)       # what a day's mean current would have said, whether it came
    profile: list = field(default_factory=list)      # what the mean hourly profile would have said
    inside: list = field(default_factory=list)
    widths: list = field(default_factory=list)
    when: list = field(default_factory=list)         # |hours said - hours it took|
    covered: list = field(default_factory=list)
    said_never: int = 0
    flattened: int = 0
    warned: int = 0
    rows_warned: int = 0
    quiet_nights: int = 0
    false_w: int = 0
    false_told: int = 0
    saved: int = 0
    told: int = 0

    def add(self, lived: Lived) -> None:
        """One camp more."""
        last_day = int(lived.truth.t_s[-1] // 86400) - 1
        by_hour = {round(issue.at_s / 3600): (k, issue) for k, issue in enumerate(lived.issues)}
        for day in range(last_day):
            self._evening(lived, day, *by_hour[day * 24 + 22])
        for day in range(last_day):
            self._messages(lived, day)
        self._hours(lived)

    def _evening(self, lived: Lived, day: int, k: int, issue: Issue) -> None:
        """The forecast at ten, beside two simple ones."""
        truth = lived.truth
        if issue.charge_frac < truth.reserve_frac + 0.02:
            return
        came = night(truth, issue.at_s)
        y = came.reached_s is not None
        self.rows.append((issue.probability, y, day))
        z, capacity, mean_a = lived.drawn_ah[k]
        hours = (z - truth.reserve_frac) * capacity / max(-mean_a, 1e-3)
        self.simple.append((hours * 3600 < came.sun_s - issue.at_s, y))
        self.profile.append((profile_says(lived, k), y))
        self.inside.append(issue.lowest[0] <= came.lowest <= issue.lowest[2])
        self.widths.append(issue.lowest[2] - issue.lowest[0])

    def _messages(self, lived: Lived, day: int) -> None:
        """Whether a night was announced. It is flattened when the reserve is reached between solar 15:00 and the sun carrying again."""
        truth = lived.truth
        i = int((day * 24 + truth.clock_noon_hour + 3) * 3600)
        if truth.charge_frac[int(i / STEP_S)] < truth.reserve_frac + 0.02:
            return
        came = night(truth, float(i))
        messages = [e for e in lived.events if i - 3 * 3600 <= e.at_s <= came.sun_s]
        self.told += len(messages)
        if came.reached_s is None:
            self._quiet(lived, day, i, came, messages)
        elif came.reached_s - i > 4 * 3600:
            self.flattened += 1
            said = any(e.at_s <= came.reached_s - 3 * 3600 for e in messages)
            self.warned += said
            self.rows_warned += any(x.probability >= 0.3 for x in lived.issues if i <= x.at_s <= came.reached_s - 3 * 3600)
            if not said and SHOW:
                print("missed", lived.issues[0].camp, day, "reached", round((came.reached_s / 3600) % 24, 1),
                      "lowest", round(came.lowest - truth.reserve_frac, 3), "messages", _shown(messages), "rows",
                      [round(x.probability, 2) for x in lived.issues if i <= x.at_s <= came.reached_s])

    def _quiet(self, lived: Lived, day: int, i: int, came: Night, messages: list) -> None:
        truth = lived.truth
        self.quiet_nights += 1
        self.false_w += any(e.warning for e in messages)
        self.false_told += any(e.probability >= 0.5 for e in messages)
        drove = truth.engine[int(i / STEP_S):int(came.sun_s / STEP_S)].any()
        self.saved += bool(drove) and any(e.warning for e in messages)
        if messages and SHOW:
            print("false", lived.issues[0].camp, day, "lowest", round(came.lowest - truth.reserve_frac, 3), _shown(messages))

    def _hours(self, lived: Lived) -> None:
        """The time to the reserve, six to twelve hours ahead of it."""
        truth = lived.truth
        under = truth.charge_frac < truth.reserve_frac
        armed_from = 0
        for b in np.nonzero(under[1:] & ~under[:-1])[0]:
            if b < armed_from or b * STEP_S < 2 * 86400:
                continue
            after = np.nonzero(truth.charge_frac[b:] > truth.reserve_frac + 0.1)[0]
            armed_from = b + after[0] if len(after) else len(truth.charge_frac)
            for issue in lived.issues:
                lead_h = (b * STEP_S - issue.at_s) / 3600
                if not 6 < lead_h <= 12:
                    continue
                if issue.reserve_in_s is None:
                    self.said_never += 1
                    continue
                self.when.append(abs(issue.reserve_in_s / 3600 - lead_h))
                self.covered.append(issue.low_s / 3600 <= lead_h <= issue.high_s / 3600)


def _shown(messages: list) -> list[tuple[float, float]]:
    return [(round((e.at_s / 3600) % 24, 1), round(e.probability, 2)) for e in messages]


def _reliability(p: np.ndarray, y: np.ndarray) -> tuple[float, list[tuple[float, float, int]]]:
    """The widest gap between said and come over bins with fifty nights, and the bins with fifteen: (said, came, nights)."""
    gap, bins = 0.0, []
    for low in np.arange(0, 1, 0.1):
        g = (p >= low) & (p < low + 0.1 + (low > 0.85))
        if g.sum() >= 15:
            bins.append((round(float(p[g].mean()), 2), round(float(y[g].mean()), 2), int(g.sum())))
        if g.sum() >= 50:
            gap = max(gap, abs(p[g].mean() - y[g].mean()))
    return float(gap), bins


def score(lives: list[Lived]) -> dict[str, float]:
    """All figures of the ensemble."""
    t = Tally()
    for lived in lives:
        t.add(lived)
    p = np.array([r[0] for r in t.rows])
    y = np.array([r[1] for r in t.rows], float)
    base = y.mean()

    def skill(said):
        return 1 - np.mean((np.asarray(said, float) - y) ** 2) / (base * (1 - base))

    gap, bins = _reliability(p, y)
    early = np.array([r[2] for r in t.rows]) < 3
    quiet, nights = max(t.quiet_nights, 1), max(t.quiet_nights + t.flattened, 1)
    return {
        "nights": len(t.rows), "base": base, "skill": skill(p), "skill 24 h": skill([s for s, _ in t.simple]),
        "skill profile": skill([s for s, _ in t.profile]),
        "Brier first 3": float(np.mean((p[early] - y[early]) ** 2)),
        "hits 0.5": float(np.mean(p[y > 0] >= 0.5)), "hits 0.3": float(np.mean(p[y > 0] >= 0.3)),
        "false 0.5": float(np.mean(p[y < 1] >= 0.5)), "false 0.3": float(np.mean(p[y < 1] >= 0.3)),
        "false 24 h": float(np.mean([s for s, came in t.simple if not came])),
        "flattened": t.flattened, "warned 3 h ahead": t.warned / max(t.flattened, 1),
        "rows 3 h ahead": t.rows_warned / max(t.flattened, 1),
        "false warnings": t.false_w / quiet, "of them a drive": t.saved / quiet,
        "told 0.5 or more": t.false_told / quiet, "quiet nights": t.quiet_nights,
        "messages a day": t.told / nights,
        "lowest inside": float(np.mean(t.inside)), "lowest width": float(np.mean(t.widths)),
        "when MAE h": float(np.mean(t.when)), "when inside": float(np.mean(t.covered)), "when n": len(t.when),
        "said never": t.said_never, "gap": gap,
        "us a step": 1e6 * sum(v.seconds for v in lives) / sum(v.steps for v in lives),
        "bins": bins,
    }


def main(arguments: list[str]) -> None:
    vehicles, days, first = (int(a) for a in (arguments[:3] + ["12", "25", "100"][len(arguments):]))
    if len(arguments) > 3:
        truths = simulated(vehicles, days, first, float(arguments[3]))
    else:
        truths = (camp(first + i, days) for i in range(vehicles))
    lives = [live(i, truth, seed=first + i) for i, truth in enumerate(truths)]
    for name, value in score(lives).items():
        print(f"{name:20s} {value if not isinstance(value, float) else round(value, 4)}")


if __name__ == "__main__":
    main([a for a in sys.argv[1:] if a != "-v"])
