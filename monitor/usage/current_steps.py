"""Steps in the house current: what was switched on or off, by how much, and when."""
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

P = table("usage", "current_steps")
QUIET_A = P.number("quiet_a")
LEAST_A, LEAST_FRAC = P.number("least_a"), P.number("least_frac")
MEMORY_S = P.number("memory_s")
BLOCKS, EXPECTED_PART, EXPECTED_A = P.count("blocks"), P.number("expected_part"), P.number("expected_a")


@dataclass(frozen=True, slots=True)
class CurrentLevel:
    """The current's present level, and what may be becoming the next one."""

    amperes: float | None = None
    held_s: float = 0.0
    next_a: float = 0.0
    next_s: float = 0.0         # 0: nothing pending
    next_from_s: float = 0.0


@dataclass(frozen=True, slots=True)
class CurrentStep:
    """A step up (into the battery) or down, at its moment."""

    at_s: float
    by_a: float


def follow(level: CurrentLevel, minute: Minute, expected_a: float | None,
           without_sun: bool = False) -> tuple[CurrentLevel, tuple[CurrentStep, ...], float]:
    """The level after a minute, the steps in it, and what short bursts took out [A s].

    A new level is believed when two points in a row agree on it, or at once where the step has the
    size that is expected of the fridge: readings two minutes apart show a short run only once.
    expected_a: current expected from the loads [A]; level: the current it settled at; minute: what was measured; without_sun:
    what the sun gives is measured, and taken off first.
    """
    now_a, held_s, next_a, next_s, next_from_s = (
        level.amperes, level.held_s, level.next_a, level.next_s, level.next_from_s)
    steps: list[CurrentStep] = []
    burst_as = 0.0
    for at_s, span_s, a in _points(minute, without_sun):
        if now_a is None:
            now_a, held_s = a, span_s
            continue
        off = a - now_a
        near = LEAST_A + LEAST_FRAC * abs(a)
        if abs(off) < near:
            if next_s and next_a < now_a:
                burst_as += (now_a - next_a) * next_s
            next_s = 0.0
            held_s = min(held_s + span_s, MEMORY_S)
            now_a += off * span_s / (held_s + span_s)
            continue
        sure = next_s and abs(a - next_a) < near
        if sure or expected_a is not None and abs(abs(off) - expected_a) < EXPECTED_PART * expected_a + EXPECTED_A:
            if sure:
                total = next_s + span_s
                to_a, from_s = (next_a * next_s + a * span_s) / total, next_from_s
            else:
                to_a, total, from_s = a, span_s, at_s - span_s
                if next_s:  # the point before fell into the step
                    from_s -= next_s * abs(next_a - now_a) / max(abs(off), abs(next_a - now_a))
            steps.append(CurrentStep(from_s, to_a - now_a))
            now_a, held_s, next_s = to_a, total, 0.0
        else:
            if next_s and (next_a - now_a) * off < 0 and next_a < now_a:
                burst_as += (now_a - next_a) * next_s
            next_a, next_s, next_from_s = a, span_s, at_s - span_s
    return CurrentLevel(now_a, held_s, next_a, next_s, next_from_s), tuple(steps), burst_as


def is_lost(level: CurrentLevel) -> CurrentLevel:
    """The level after a hole in the readings."""
    return replace(level, amperes=None, next_s=0.0)


def _points(minute: Minute, without_sun: bool) -> list[tuple[float, float, float]]:
    """(end, length, mean current) of the parts of a minute: its samples, or blocks where they come fast."""
    samples = minute.samples
    low, high, mean = minute.house_current_low_a, minute.house_current_high_a, minute.house_current_a
    if mean is None:
        return []
    quiet = not without_sun and low is not None and high is not None and high - low < QUIET_A
    if low is None or high is None or not samples or len(samples) > BLOCKS and quiet:
        sun_a = minute.solar_current_a if without_sun else None
        return [(minute.end_s, max(minute.duration_s, 1.0), mean - (sun_a or 0.0))]
    if len(samples) == 1:   # what a log gives back
        one, amperes = samples[0], samples[0].house_current_a
        if amperes is None or without_sun and one.solar_current_a is None:
            return []
        return [(one.at_s, max(one.at_s - minute.start_s, 1.0), amperes - (one.solar_current_a or 0.0) if without_sun else amperes)]
    each = -(-len(samples) // BLOCKS)
    before_s, found = minute.start_s, []
    for first in range(0, len(samples), each):
        part = samples[first:first + each]
        values = [s.house_current_a - (s.solar_current_a or 0.0) if without_sun else s.house_current_a for s in part
                  if s.house_current_a is not None and not (without_sun and s.solar_current_a is None)]
        if values:
            found.append((part[-1].at_s, max(part[-1].at_s - before_s, 1.0), sum(values) / len(values)))
        before_s = part[-1].at_s
    return found
