"""Engine starts: a verdict on each from a fast voltage trace, and how they change over the months."""
from collections.abc import Sequence
from math import exp, log, sqrt
from statistics import median

from monitor.detection.starter.crank_limits import (
    BORDER_D,
    LOWEST_MARGIN_V,
    LOWEST_SPAN_V,
    WEAK_D,
    d_scale,
    load_test_v,
)
from monitor.findings import Z95, Answer, CrankGrade, Estimate, Event, JoinFindings, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("detection/starter", "crank")
SLOWEST_S = P.number("slowest_s")
DIP_V, SHORTEST_S = P.number("dip_v"), P.number("shortest_s")
INRUSH_S = P.number("inrush_s")
LIFT_V, CHARGING_V = P.number("lift_v"), P.number("charging_v")
TOO_LONG_S = P.number("too_long_s")
BASELINE, RECENT = P.count("baseline"), P.count("recent")
GROWN = P.number("grown")
PER_K, PER_K_SIGMA = P.number("per_k"), P.number("per_k_sigma")
SLOW_DIP_V, AGAIN_S = P.number("slow_dip_v"), P.number("again_s")
LATE_CHARGE_S = P.number("late_charge_s")
LEAST_READINGS, BEFORE_S, BEFORE_END_S = P.count("least_readings"), P.number("before_s"), P.number("before_end_s")
FIRST_READINGS, LEVEL_S, BACK_S = P.count("first_readings"), P.number("level_s"), P.number("back_s")
TURNING_READINGS, TURNING_STEP, HALF_WAY = P.count("turning_readings"), P.count("turning_step"), P.number("half_way")
BACK_PART, RECOVERED_V, LAST_READINGS = P.number("back_part"), P.number("recovered_v"), P.count("last_readings")
SHORT_AFTER_S, NO_AFTER_S, AS_BEFORE_V = P.number("short_after_s"), P.number("no_after_s"), P.number("as_before_v")
USUAL_C = table("battery", "starter_battery").number("usual_c")
LEAST_DROP, CLOSE_READINGS = P.number("least_drop"), P.count("close_readings")
DIPS_KEPT = P.count("dips_kept")
LEAST_RECENT, TREND_C, MEDIAN_VARIANCE = P.count("least_recent"), P.number("trend_c"), P.number("median_variance")
LEAST_SCATTER_LN, SHOWN_SIGMA_V, SHOWN_DROP_LOW = P.number("least_scatter_ln"), P.number("shown_sigma_v"), P.number("shown_drop_low")
SHOWN_DROP_HIGH = P.number("shown_drop_high")


@dataclass(frozen=True, slots=True)
class CrankVerdict:
    """One start. drop_frac is (before - plateau) / plateau: battery over starter resistance, free of the current."""

    verdict: CrankGrade              # "": no verdict
    because: str
    before_v: float | None = None
    lowest_v: float | None = None
    plateau_v: float | None = None
    duration_s: float | None = None
    recovered_s: float | None = None     # from the end of cranking to 13.0 V
    drop_frac: float | None = None
    started: bool | None = None
    severity: float | None = None        # below 0 healthy, 0 to 1 borderline, above 1 weak


#: What a person calls each grade.
GRADES: dict[CrankGrade, str] = {"healthy": "Good start", "borderline": "Fair start", "weak": "Weak start", "failed": "Failed start"}


def judge(trace: Sequence[tuple[float, float]], temperature_c: float | None) -> CrankVerdict:
    """The verdict on one start from (seconds, starter volts) at 20 Hz or more.

    Lowest voltage and drop ratio are each placed between their healthy and their weak limit, at
    the temperature given (20 °C or more where unknown), and averaged: see docs/starter-watch.md.
    A trace ends some seconds after the starter motor, and many alternators begin later than that:
    "failed" is what the trace alone suggests, and `update` waits before it believes it.
    """
    if len(trace) < LEAST_READINGS or (trace[-1][0] - trace[0][0]) / (len(trace) - 1) > SLOWEST_S:
        return CrankVerdict("", "needs at least twenty readings a second over the whole start")
    volts = [v for _, v in trace]
    times = [t for t, _ in trace]
    first = _find_begin(times, volts)
    if first is None:
        return CrankVerdict("", "no start in this trace: the voltage never fell by half a volt")
    before = [v for t, v in trace[:first] if t > times[first] - BEFORE_S and t < times[first] - BEFORE_END_S] or volts[:first]
    before_v = sum(before) / len(before)
    end = _find_end(times, volts, first, before_v)
    duration_s = times[end] - times[first]
    lowest_v = min(volts[first:end + 1])
    if duration_s < SHORTEST_S:
        return CrankVerdict("", "too short for a start: a load was switched", before_v, lowest_v)
    turning = [v for t, v in trace[first:end] if t > times[first] + INRUSH_S] or volts[first:end]
    plateau_v = median(turning)
    if before_v - plateau_v < DIP_V:
        return CrankVerdict("", "down for a moment only: a load was switched", before_v, lowest_v)
    drop = (before_v - plateau_v) / plateau_v
    started, recovered_s = _find_charging(times, volts, end, max(before_v, median(volts[:FIRST_READINGS])))
    severity = _severity(lowest_v, drop, temperature_c)
    grade = _grade(severity)
    if end == len(trace) - 1 and grade == "healthy":
        return CrankVerdict("", "still down when the trace ended: a load was switched, or the start went on", before_v, lowest_v)
    because = f"dipped to {lowest_v:.1f} V, then {plateau_v:.1f} V for {duration_s:.1f} s"
    if started is False and (grade != "healthy" or duration_s > TOO_LONG_S):
        grade = "failed"
        because += "; the engine did not take over"
        if severity < 0:
            because += ", though the battery coped"
    elif started is not True:
        because += "; no charging seen after it: throttled alternator or failed start"
    return CrankVerdict(grade, because, before_v, lowest_v, plateau_v, duration_s, recovered_s, drop, started, severity)


def _grade(severity: float) -> CrankGrade:
    return "healthy" if severity < 0 else ("borderline" if severity <= 1 else "weak")


def _find_begin(times: list[float], volts: list[float]) -> int | None:
    """First sample of the dip: below the second before by half a volt."""
    level = median(volts[:FIRST_READINGS])
    for i in range(FIRST_READINGS, len(volts)):
        if volts[i] < level - DIP_V:
            return i
        level += (volts[i] - level) * min(1.0, (times[i] - times[i - 1]) / LEVEL_S)
    return None


def _find_end(times: list[float], volts: list[float], first: int, before_v: float) -> int:
    """Last sample of cranking: after it the voltage stays above half way back for 0.15 s."""
    begin = first + 1
    while begin < len(times) - 1 and times[begin] < times[first] + BACK_S:
        begin += 1
    seen: list[float] = []
    level = before_v
    for i in range(begin, len(volts)):
        seen.append(volts[i])
        level = median(seen[-TURNING_READINGS:]) if len(seen) % TURNING_STEP == 1 or len(seen) < TURNING_STEP else level
        half = level + HALF_WAY * (before_v - level) if len(seen) >= TURNING_STEP else before_v - BACK_PART * DIP_V
        if volts[i] > half:
            j = i
            while j < len(volts) and volts[j] > half:
                if times[j] - times[i] >= BACK_S:
                    return i - 1
                j += 1
    return len(volts) - 1


def _find_charging(times: list[float], volts: list[float], end: int, before_v: float) -> tuple[bool | None, float | None]:
    after = [(t - times[end], v) for t, v in zip(times[end + 1:], volts[end + 1:], strict=True)]
    if not after or after[-1][0] < SHORT_AFTER_S:
        return None, None
    recovered = next((t for t, v in after if v >= RECOVERED_V), None)
    last = median([v for _, v in after[-LAST_READINGS:]])
    if last > min(before_v + LIFT_V, CHARGING_V):
        return True, recovered
    if after[-1][0] < NO_AFTER_S or last > before_v - AS_BEFORE_V:
        return None, recovered
    return False, recovered


def _severity(lowest_v: float, drop: float, temperature_c: float | None) -> float:
    limit_v = load_test_v(USUAL_C if temperature_c is None else temperature_c)
    scale = d_scale(limit_v)
    by_lowest = (limit_v + LOWEST_MARGIN_V - lowest_v) / LOWEST_SPAN_V
    by_drop = log(max(drop, LEAST_DROP) / (BORDER_D * scale)) / log(WEAK_D / BORDER_D)
    return 0.5 * (by_lowest + by_drop)


@dataclass(frozen=True, slots=True)
class CrankState:
    """The starts of a vehicle: baseline and last ones as (temperature, ln of drop ratio)."""

    count: int = 0
    baseline: tuple[tuple[float, float], ...] = ()
    recent: tuple[tuple[float, float], ...] = ()
    last: CrankVerdict | None = None
    last_s: float | None = None
    pending: CrankVerdict | None = None  # its trace shows no charging; whether it failed is seen by what comes after
    pending_s: float = 0.0
    pending_c: float | None = None
    lowest_v: float | None = None        # of the latest start seen at all
    fast: bool = False                   # the latest start had a fast trace
    level_v: float | None = None
    dips: tuple[float, ...] = ()         # slow dips with no start behind them so far
    news: tuple[Event, ...] = ()


def update(state: CrankState, minute: Minute, join: JoinFindings, temperature_c: float | None) -> CrankState:
    """The starts after one more minute; a fast trace in it is judged, slow readings give the lowest seen.

    state: what was kept after the minute before; join: what is known of engine and isolator; temperature_c: of the battery [°C];
    minute: what was measured.
    """
    if minute.fast_starter:
        return _add_start(state, judge(minute.fast_starter, temperature_c), minute, join, temperature_c)
    if state.pending is not None:
        if join.engine == "running":
            return _settle(state, _correct_for_late_charging(state.pending), minute.end_s)
        if minute.end_s - state.pending_s > LATE_CHARGE_S:
            return _settle(state, state.pending, minute.end_s)
    elif (join.engine == "running" and state.last is not None and state.last.verdict == "failed" and state.last_s is not None
          and minute.end_s - state.last_s < AGAIN_S):
        return replace(state, last=_correct_for_late_charging(state.last), dips=(), news=(Event(
            minute.end_s, "start", "starter", "The engine runs after all: its alternator began late, or another start took."),))
    low, volts = minute.starter_voltage_low_v, minute.starter_voltage_v
    level = state.level_v
    if low is None or volts is None:
        return state if not state.news else replace(state, news=())
    dips = state.dips
    if dips and (join.engine == "running" or minute.end_s - dips[-1] > AGAIN_S):
        dips = ()
    close = len(minute.samples) > CLOSE_READINGS
    if close and level is not None and low < level - DIP_V and state.last_s != minute.end_s:
        if join.engine == "running":
            return replace(state, lowest_v=low, fast=False, last_s=minute.end_s, level_v=volts, news=(),
                           dips=(), last=None)
        if join.engine != "running" and low < level - SLOW_DIP_V:
            dips = (*dips, minute.end_s)[-DIPS_KEPT:]
    if level == volts and dips == state.dips and not state.news:
        return state
    return replace(state, level_v=volts, dips=dips, news=())


def _add_start(state: CrankState, verdict: CrankVerdict, minute: Minute, join: JoinFindings, temperature_c: float | None) -> CrankState:
    """The starts after a minute with a fast trace; a start that waits for its verdict failed if there is another."""
    if not verdict.verdict:
        return replace(state, news=())
    earlier: tuple[Event, ...] = ()
    if state.pending is not None:
        state = _settle(state, state.pending, minute.end_s)
        earlier = state.news
    if verdict.verdict == "failed" and join.engine != "running":
        return replace(state, pending=verdict, pending_s=minute.end_s, pending_c=temperature_c, news=earlier)
    state = add(state, verdict if verdict.verdict != "failed" else _correct_for_late_charging(verdict), minute.end_s, temperature_c)
    return replace(state, news=(*earlier, *state.news))


def _settle(state: CrankState, verdict: CrankVerdict, at_s: float) -> CrankState:
    """The starts after the verdict on the one that waited for it; it is told now [s]."""
    after = add(state, verdict, state.pending_s, state.pending_c)
    return replace(after, news=tuple(replace(event, at_s=at_s) for event in after.news))


def _correct_for_late_charging(verdict: CrankVerdict) -> CrankVerdict:
    """A start whose trace showed no charging, but whose engine was found running: graded by the battery alone."""
    grade = _grade(verdict.severity or 0.0)
    because = verdict.because.partition("; the engine did not take over")[0] + "; the alternator began late"
    return replace(verdict, verdict=grade, because=because, started=True)


def add(state: CrankState, verdict: CrankVerdict, at_s: float, temperature_c: float | None) -> CrankState:
    """The starts after one more judged start.

    state: what was kept after the minute before; verdict: the judged start; at_s: the log's time [s]; temperature_c:
    of the battery [°C].
    """
    if not verdict.verdict or verdict.drop_frac is None or verdict.lowest_v is None:
        return replace(state, news=())
    pair = (USUAL_C if temperature_c is None else temperature_c, log(max(verdict.drop_frac, LEAST_DROP)))
    baseline, recent = state.baseline, state.recent
    if len(baseline) < BASELINE:
        baseline = (*baseline, pair)
    else:
        recent = (*recent, pair)[-RECENT:]
    message = f"{GRADES[verdict.verdict]}: {verdict.because}."
    event = Event(at_s, "start", "starter", message, (("lowest_v", verdict.lowest_v), ("drop_frac", verdict.drop_frac)))
    return CrankState(state.count + 1, baseline, recent, verdict, at_s, lowest_v=verdict.lowest_v, fast=True,
                      level_v=state.level_v, news=(event,))


def trend(state: CrankState) -> tuple[float, float, float] | None:
    """How many times the first starts' drop ratio the last ones show at equal temperature, with its 95 % interval.

    None until there are twenty starts for the baseline and three after them.
    """
    if len(state.baseline) < BASELINE or len(state.recent) < LEAST_RECENT:
        return None
    at, slope, scatter, sigma_at = _line(state.baseline)
    rest = [y - at - slope * (t - TREND_C) for t, y in state.recent]
    change = median(rest)
    sigma = sqrt(scatter**2 * MEDIAN_VARIANCE / len(rest) + sigma_at**2)
    return exp(change), exp(change - Z95 * sigma), exp(change + Z95 * sigma)


def _line(pairs: Sequence[tuple[float, float]]) -> tuple[float, float, float, float]:
    """ln d at 15 °C, its slope per kelvin (held near the usual one), the scatter, and the sigma of the level."""
    n = len(pairs)
    mean_t, mean_y = sum(t for t, _ in pairs) / n, sum(y for _, y in pairs) / n
    s_tt = sum((t - mean_t) ** 2 for t, _ in pairs)
    s_ty = sum((t - mean_t) * (y - mean_y) for t, y in pairs)
    scatter2 = max(sum((y - mean_y) ** 2 for _, y in pairs) / n, LEAST_SCATTER_LN**2)
    slope = (s_ty / scatter2 + PER_K / PER_K_SIGMA**2) / (s_tt / scatter2 + 1 / PER_K_SIGMA**2)
    scatter = sqrt(max(sum((y - mean_y - slope * (t - mean_t)) ** 2 for t, y in pairs) / max(n - 2, 1), LEAST_SCATTER_LN**2))
    return mean_y + slope * (TREND_C - mean_t), slope, scatter, scatter / sqrt(n)


def as_findings(state: CrankState) -> tuple[Answer, Answer, CrankGrade]:
    """Lowest voltage, drop ratio and verdict of the latest start, as the findings carry them."""
    if state.lowest_v is None:
        none: Answer = NotYet("no start has been seen yet")
        return none, NotYet("it needs a fast voltage reading during a start"), ""
    if not state.fast or state.last is None or state.last.drop_frac is None:
        # Once a second the true minimum lies between two readings: it was at most this.
        return (Estimate(state.lowest_v, 0.0, state.lowest_v, "measured"),
                NotYet("it needs a fast voltage reading during a start"), "")
    drop = state.last.drop_frac
    return (Estimate(state.lowest_v, state.lowest_v - SHOWN_SIGMA_V, state.lowest_v + SHOWN_SIGMA_V, "measured"),
            Estimate(drop, SHOWN_DROP_LOW * drop, SHOWN_DROP_HIGH * drop, "measured"), state.last.verdict)
