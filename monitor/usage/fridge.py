"""The fridge told from the other loads by its steps: its current, its duty, its ampere-hours a day."""
from collections.abc import Iterator
from functools import cache
from math import cos, exp, hypot, pi
from typing import ClassVar

from monitor.findings import Z95, Answer, Estimate, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.usage.current_steps import CurrentStep

P = table("usage", "fridge")
SHORTEST_S, LONGEST_S = P.number("shortest_s"), P.number("longest_s")
LONGEST_OFF_S = P.number("longest_off_s")
ALIKE = P.number("alike")
MEMORY_S = P.number("memory_s")
DAY_S = 86400.0
BINS = 8                # three hours each of the solar day
LEAST_A, MOST_A = P.number("least_a"), P.number("most_a")
INSIDE_C, WORSE, UNSURE, HOUR_SIGMA = P.number("inside_c"), P.number("worse"), P.number("unsure"), P.number("hour_sigma")
SWING_K = P.number("swing_k")
GUESS_S = P.number("guess_s")
TOO_LONG = P.number("too_long")
LEAST_RUNS, ALIKE_FRAC, ALIKE_A = P.number("least_runs"), P.number("alike_frac"), P.number("alike_a")
WAITING_KEPT, PAIR_A, RUN_LEAST_SHARE = P.count("waiting_kept"), P.number("pair_a"), P.number("run_least_share")
KINDS_KEPT, SLOPE_C = P.count("kinds_kept"), P.number("slope_c")
SLOPE_MEMORIES, LEAST_INSIDE_K = P.count("slope_memories"), P.number("least_inside_k")
LEAST_DUTY, WARMEST_H, LEAST_CYCLES = P.number("least_duty"), P.count("warmest_h"), P.count("least_cycles")
OWN_SIGMA, UNSEEN_SIGMA, RUN_SIGMA = P.number("own_sigma"), P.number("unseen_sigma"), P.number("run_sigma")
LIKE_SIGMA, RUN_READINGS = P.number("like_sigma"), P.number("run_readings")


@dataclass(frozen=True, slots=True)
class RunKind:
    """Runs of like current: candidates for being the fridge."""

    amperes: float
    runs: float             # how many, fading
    at_s: float
    run_s: float            # mean length of a run


@dataclass(frozen=True, slots=True)
class Fridge:
    """What was learnt of the compressor. Times by bin of the solar day, fading, are in seconds."""

    kinds: tuple[RunKind, ...] = ()
    switched_on: tuple[tuple[float, float], ...] = ()   # steps not yet answered by one back: (at, size)
    running: bool | None = None
    since_s: float = 0.0
    on_s: tuple[float, ...] = (0.0,) * BINS
    off_s: tuple[float, ...] = (0.0,) * BINS
    warm_c: tuple[float | None, ...] = (None,) * BINS
    at_s: float = 0.0
    cycles: float = 0.0
    # sums for the slope of duty against temperature, in hours: weight, x, y, xx, xy
    slope_sums: tuple[float, float, float, float, float] = (0.0,) * 5
    apart_s: float = 0.0    # readings at the latest step

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"apart_s"})


def kind(fridge: Fridge) -> RunKind | None:
    """The load that comes and goes most often, None until that is often enough to be a compressor."""
    return fridge.kinds[0] if fridge.kinds and fridge.kinds[0].runs > LEAST_RUNS else None


def amperes(fridge: Fridge) -> float | None:
    """The compressor's current [A], None until it is told from the other loads."""
    found = kind(fridge)
    return None if found is None else found.amperes


def update_on_step(fridge: Fridge, steps: tuple[CurrentStep, ...], noon_s: float, temperature_c: float | None,
                   apart_s: float = 60.0) -> Fridge:
    """The fridge after the steps of a minute.

    temperature_c: around the fridge, None: not measured [°C]; fridge: what is known of it; steps: of the current, up and down;
    noon_s: the log's time of a solar noon [s]; apart_s: of two readings [s].
    """
    if fridge.apart_s != apart_s:
        fridge = replace(fridge, apart_s=apart_s)
    for step in steps:
        fridge = _learn_run(fridge, step)
        size = amperes(fridge)
        if size is None or abs(abs(step.by_a) - size) > ALIKE_FRAC * size + ALIKE_A:
            continue
        now_on = step.by_a < 0
        if fridge.running is not None and fridge.running != now_on:
            fridge = _count_run(fridge, step.at_s, noon_s, temperature_c)
            fridge = replace(fridge, cycles=fridge.cycles + (0.0 if now_on else 1.0))
        fridge = replace(fridge, running=now_on, since_s=step.at_s)
    return fridge


def hide_runs(fridge: Fridge, at_s: float, noon_s: float, temperature_c: float | None) -> Fridge:
    """The fridge where steps can no longer be seen: a gap, the engine, or a charger that holds the voltage.

    at_s: the log's time [s]; noon_s: that of a solar noon [s]; temperature_c: around the fridge, None: not measured [°C]; fridge: what
    is known of it.
    """
    if fridge.running is None:
        return replace(fridge, switched_on=()) if fridge.switched_on else fridge
    return replace(_count_run(fridge, at_s, noon_s, temperature_c), running=None, switched_on=())


def _learn_run(fridge: Fridge, step: CurrentStep) -> Fridge:
    """Pair a step back with the step that it answers, and count the run to its kind."""
    if step.by_a < 0:
        waiting = tuple(w for w in fridge.switched_on if step.at_s - w[0] < LONGEST_S)[-WAITING_KEPT:]
        return replace(fridge, switched_on=(*waiting, (step.at_s, -step.by_a)))
    for began in reversed(fridge.switched_on):
        if abs(began[1] - step.by_a) < ALIKE * max(began[1], step.by_a) + PAIR_A:
            left = tuple(w for w in fridge.switched_on if w != began)
            lasted_s, size = step.at_s - began[0], (began[1] + step.by_a) / 2
            fridge = replace(fridge, switched_on=left)
            if SHORTEST_S <= lasted_s <= LONGEST_S and LEAST_A <= size <= MOST_A:
                return replace(fridge, kinds=_with_run(fridge.kinds, size, step.at_s, lasted_s))
            return fridge
    return fridge


def _with_run(kinds: tuple[RunKind, ...], size: float, at_s: float, run_s: float) -> tuple[RunKind, ...]:
    faded = [RunKind(k.amperes, k.runs * exp((k.at_s - at_s) / MEMORY_S), at_s, k.run_s) for k in kinds]
    near = min(faded, key=lambda k: abs(k.amperes - size), default=None)
    if near is not None and abs(near.amperes - size) < ALIKE * near.amperes:
        faded.remove(near)
        gain = max(1 / (near.runs + 1), RUN_LEAST_SHARE)
        # Long runs count as no longer than twice the usual: one lost end must not move the mean.
        lasted = min(run_s, 2 * near.run_s)
        faded.append(RunKind(near.amperes + gain * (size - near.amperes), near.runs + 1, at_s,
                          near.run_s + gain * (lasted - near.run_s)))
    else:
        faded.append(RunKind(size, 1.0, at_s, run_s))
    return tuple(sorted(faded, key=lambda k: -k.runs)[:KINDS_KEPT])


def _count_run(fridge: Fridge, until_s: float, noon_s: float, temperature_c: float | None) -> Fridge:
    """Add the time since the last step to the duty of the parts of the day that it lay in."""
    span_s = until_s - fridge.since_s
    usual = kind(fridge)
    if not 0 < span_s < (LONGEST_S if fridge.running else LONGEST_OFF_S) or (
            usual is not None and fridge.running and span_s > TOO_LONG * usual.run_s):
        return fridge
    keep = exp(-max(until_s - fridge.at_s, 0.0) / MEMORY_S)
    on, off = [v * keep for v in fridge.on_s], [v * keep for v in fridge.off_s]
    part = 0
    for part, seconds in _by_part(fridge.since_s - noon_s, until_s - noon_s):
        (on if fridge.running else off)[part] += seconds
    warm, sums = fridge.warm_c, fridge.slope_sums
    if temperature_c is not None:
        hours, duty, x = span_s / 3600, 1.0 if fridge.running else 0.0, temperature_c - SLOPE_C
        old = warm[part]
        mixed = temperature_c if old is None else old + min(span_s / max(on[part] + off[part], span_s), 1.0) * (
            temperature_c - old)
        warm = (*warm[:part], round(mixed, 2), *warm[part + 1:])
        keep_slope = exp(-max(until_s - fridge.at_s, 0.0) / (SLOPE_MEMORIES * MEMORY_S))
        weight, sum_x, sum_y, sum_xx, sum_xy = sums
        sums = (weight * keep_slope + hours, sum_x * keep_slope + hours * x, sum_y * keep_slope + hours * duty,
                sum_xx * keep_slope + hours * (x * x), sum_xy * keep_slope + hours * (x * duty))
    return replace(fridge, on_s=tuple(round(v, 1) for v in on), off_s=tuple(round(v, 1) for v in off), warm_c=warm,
                   at_s=until_s, slope_sums=sums)


def _by_part(from_s: float, until_s: float) -> Iterator[tuple[int, float]]:
    """(part of the solar day, seconds in it) of a span; both ends in seconds since a solar noon."""
    while from_s < until_s:
        part = int((from_s / DAY_S + 0.5) * BINS // 1)   # counted from midnight
        ends_s = min(((part + 1) / BINS - 0.5) * DAY_S, until_s)
        yield part % BINS, ends_s - from_s
        from_s = ends_s


def duty_per_k(fridge: Fridge) -> tuple[float, float]:
    """Growth of the duty with temperature [1/K] and its sigma, held to what physics says until days have shown it."""
    weight, x, y, xx, xy = fridge.slope_sums
    duty = max(duty_frac(fridge) or 0.0, LEAST_DUTY)
    mean_c = SLOPE_C + (x / weight if weight > 1 else 0.0)
    usual = WORSE * duty / max(mean_c - INSIDE_C, LEAST_INSIDE_K)
    sigma = UNSURE * usual
    if weight < 1:
        return usual, sigma
    spread = max(xx - x * x / weight, 0.0)
    together = xy - x * y / weight
    precision = 1 / sigma**2 + spread / HOUR_SIGMA**2
    return (usual / sigma**2 + together / HOUR_SIGMA**2) / precision, precision**-0.5


def warmth_c(fridge: Fridge) -> float | None:
    """Mean temperature [°C] of the time that the duty was seen in, None where most of it had no thermometer."""
    seen_s = [on + off for on, off in zip(fridge.on_s, fridge.off_s, strict=True)]
    warm = [(span_s, warm_c) for span_s, warm_c in zip(seen_s, fridge.warm_c, strict=True) if warm_c is not None]
    total_s = sum(span_s for span_s, _ in warm)
    if total_s <= 0.5 * sum(seen_s):
        return None
    return sum(span_s * warm_c for span_s, warm_c in warm) / total_s


def duty_frac(fridge: Fridge) -> float | None:
    """Part of the time the compressor runs, over all that was seen, None until that is some hours."""
    on, off = sum(fridge.on_s), sum(fridge.off_s)
    return on / (on + off) if on + off > 2 * 3600 else None


@cache
def _swings_k() -> tuple[float, ...]:
    """How much warmer than their mean the parts of an ordinary day are [K]."""
    return tuple(SWING_K * cos((3 * part + 1.5 - WARMEST_H) / 12 * pi) for part in range(BINS))


def duties(fridge: Fridge, day_c: tuple[float | None, ...]) -> tuple[float, ...] | None:
    """Duty in each part of the day; parts in which it could not be seen follow from their warmth.

    fridge: what is known of it; day_c: temperature of each part of the day, None: not known [°C].
    """
    overall = duty_frac(fridge)
    if overall is None:
        return None
    warm_c, slope = warmth_c(fridge), duty_per_k(fridge)[0]
    seen_s, swings = [on + off for on, off in zip(fridge.on_s, fridge.off_s, strict=True)], _swings_k()
    swing_seen = sum(k * s for k, s in zip(swings, seen_s, strict=True)) / sum(seen_s)
    out = []
    for on_s, all_s, swing, part_c in zip(fridge.on_s, seen_s, swings, day_c, strict=True):
        warmer_k = swing - swing_seen if part_c is None or warm_c is None else part_c - warm_c
        guess = min(max(overall + slope * warmer_k, LEAST_DUTY), 1.0)
        out.append((on_s + GUESS_S * guess) / (all_s + GUESS_S))
    return tuple(out)


def ah_per_day(fridge: Fridge, parts: tuple[float, ...] | None) -> Answer:
    """Ampere-hours that the fridge takes in a day, with its 95 % interval.

    fridge: what is known of it; parts: its duty in each part of the day (`duties`).
    """
    size = amperes(fridge)
    if size is None or parts is None or fridge.cycles < LEAST_CYCLES:
        return NotYet("the fridge has to be seen starting and stopping for some hours without sun")
    usual = kind(fridge)
    if usual is not None and usual.run_s < RUN_READINGS * fridge.apart_s:
        return NotYet(f"the current is read every {fridge.apart_s / 60:.0f} minutes and what starts and stops most runs for about "
                      f"{usual.run_s / 60:.0f}: too seldom to see it")
    value = size * 24 * sum(parts) / BINS
    unseen = sum(fridge.on_s[p] + fridge.off_s[p] < 3600 for p in range(BINS)) / BINS
    sigma = hypot(value * OWN_SIGMA, value * UNSEEN_SIGMA * unseen, value * RUN_SIGMA / fridge.cycles**0.5, size * 24 * LIKE_SIGMA)
    return Estimate(value, value - Z95 * sigma, value + Z95 * sigma, "learnt")
