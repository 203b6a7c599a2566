"""What the battery's current usually is at each hour of the day: the guess for time not measured."""
from dataclasses import dataclass

#: A day or two says little about the next: the profile remembers about four days.
MEMORY_DAYS = 4.0


@dataclass(frozen=True, slots=True)
class UsualLoad:
    """Mean current into the battery by hour of the day, its variance from day to day, days seen."""

    mean_a: tuple[float, ...] = (0.0,) * 24
    variance_a2: tuple[float, ...] = (0.0,) * 24
    days: tuple[float, ...] = (0.0,) * 24
    hour: int = -1                # the hour being gathered
    charge_as: float = 0.0
    seconds: float = 0.0


def learn(usual: UsualLoad, current_a: float, seconds: float, hour: float | None, at_s: float) -> UsualLoad:
    """Add a measured span. Without a clock, hours since the log began take the place of clock hours."""
    now = _hour(hour, at_s)
    if now == usual.hour or usual.seconds == 0.0:
        return UsualLoad(usual.mean_a, usual.variance_a2, usual.days, now,
                         usual.charge_as + current_a * seconds, usual.seconds + seconds)
    mean, variance, days = list(usual.mean_a), list(usual.variance_a2), list(usual.days)
    h, seen = usual.hour, usual.charge_as / usual.seconds
    if usual.seconds > 600.0:
        days[h] = min(days[h] + 1.0, MEMORY_DAYS)
        miss = seen - mean[h]
        mean[h] += miss / days[h]
        if days[h] > 1.0:
            variance[h] += (miss * miss - variance[h]) / days[h]
    return UsualLoad(tuple(mean), tuple(variance), tuple(days), now, current_a * seconds, seconds)


def guess(
    usual: UsualLoad, gap_s: float, hour: float | None, at_s: float, before_a: float, after_a: float, rated_ah: float,
) -> tuple[float, float, float]:
    """Charge in, charge out and one sigma of their difference [Ah] over a gap that ends at at_s.

    The hour of the day says what usually flows; the currents on both edges say what was going on.
    Either may have begun or ended at any moment of the gap, at most an hour away (a drive, an
    evening's lights), hence half of that time and the spread of a uniform moment. The doubt of all
    hours is taken as one: a cloudy day is cloudy throughout.
    """
    into = out = doubt = 0.0
    seen = sum(usual.days)
    typical = sum(m * d for m, d in zip(usual.mean_a, usual.days)) / seen if seen else 0.0
    edge_s = min(gap_s / 2, 1800.0)
    start, done = at_s - gap_s, 0.0
    for edge_a in (before_a, after_a):
        miss = abs(edge_a - _expected(usual, hour, at_s, 0.0 if edge_a is after_a else -gap_s, typical))
        doubt = max(doubt, miss * edge_s / 3600.0 * 0.58)
    while done < gap_s:
        part = min(gap_s - done, 900.0)
        middle = done + part / 2
        ago = middle - gap_s
        h = _hour(None if hour is None else (hour + ago / 3600.0) % 24.0, start + middle)
        if usual.days[h]:
            expected = usual.mean_a[h]
            spread = (usual.variance_a2[h] + (0.03 * rated_ah) ** 2 / usual.days[h]) ** 0.5
        else:
            expected, spread = typical, 0.05 * rated_ah
        if middle < edge_s:
            expected = before_a
        elif -ago < edge_s:
            expected = after_a
        hours = part / 3600.0
        into += max(expected, 0.0) * hours
        out += max(-expected, 0.0) * hours
        doubt += (spread + 0.003 * rated_ah) * hours
        done += part
    return into, out, doubt


def _expected(usual: UsualLoad, hour: float | None, at_s: float, ago_s: float, typical: float) -> float:
    h = _hour(None if hour is None else (hour + ago_s / 3600.0) % 24.0, at_s + ago_s)
    return usual.mean_a[h] if usual.days[h] else typical


def _hour(hour: float | None, at_s: float) -> int:
    return int((at_s / 3600.0 if hour is None else hour) % 24.0)
