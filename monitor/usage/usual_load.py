"""What the battery's current usually is at each hour of the day: the guess for time not measured."""
from dataclasses import dataclass

from monitor.parameters import table

P = table("usage", "usual_load")
MEMORY_DAYS = P.number("memory_days")
EDGE_S = P.number("edge_s")


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
    """Add a measured span. Without a clock, hours since the log began take the place of clock hours.

    usual: what is usual for this vehicle; current_a: into the house battery [A]; seconds: how long [s]; hour: local clock hour, None:
    not known; at_s: the log's time [s].
    """
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
    usual: UsualLoad, seconds: float, hour: float | None, at_s: float, gone_s: float, before_a: float, rated_ah: float,
) -> tuple[float, float]:
    """Charge that flowed into the battery in an unmeasured span that ends at at_s, and one sigma [Ah].

    gone_s is how long nothing had been measured when the span began. For half an hour things go on
    as before; after that the hour of the day decides. The sigmas of one gap's spans are to be added
    as they are, not their squares: a cloudy day is cloudy throughout.
    usual: what is usual for this vehicle; seconds: how long [s]; before_a: current before [A]; rated_ah: capacity on the label
    [Ah]; hour: local clock hour at its end, None: not known; at_s: the log's time at its end [s]; gone_s: unmeasured before it [s].
    """
    charge = sigma = done = 0.0
    while done < seconds:
        part = min(seconds - done, 900.0)
        ago = done + part / 2 - seconds
        expected, spread = _expect(usual, hour, at_s, ago, rated_ah)
        if gone_s + done < EDGE_S:
            # What was going on may have ended at any moment since.
            spread, expected = max(spread, 0.58 * abs(expected - before_a)), before_a
        charge += expected * part / 3600.0
        sigma += (spread + 0.003 * rated_ah) * part / 3600.0
        done += part
    return charge, sigma


def look_back(
    usual: UsualLoad, gap_s: float, hour: float | None, at_s: float, after_a: float, rated_ah: float,
) -> tuple[float, float]:
    """What the first current after a gap changes in the guess of its last part, and one sigma [Ah].

    It may have begun at any moment, at most an hour ago (a drive, an evening's lights).
    usual: what is usual for this vehicle; gap_s: length of the gap [s]; at_s: the log's time [s]; after_a: current after [A];
    rated_ah: capacity on the label [Ah]; hour: local clock hour, None: not known.
    """
    back_s = min(gap_s / 2, EDGE_S)
    expected, _ = _expect(usual, hour, at_s, -back_s / 2, rated_ah)
    change = (after_a - expected) * back_s / 3600.0
    return change, 0.58 * abs(change)


def _expect(
    usual: UsualLoad, hour: float | None, at_s: float, ago_s: float, rated_ah: float,
) -> tuple[float, float]:
    h = _hour(None if hour is None else (hour + ago_s / 3600.0) % 24.0, at_s + ago_s)
    if usual.days[h]:
        return usual.mean_a[h], (usual.variance_a2[h] + (0.03 * rated_ah) ** 2 / usual.days[h]) ** 0.5
    seen = sum(usual.days)
    return sum(m * d for m, d in zip(usual.mean_a, usual.days, strict=True)) / seen if seen else 0.0, 0.05 * rated_ah


def _hour(hour: float | None, at_s: float) -> int:
    return int((at_s / 3600.0 if hour is None else hour) % 24.0)
