"""What the battery's current usually is at each hour of the day: the guess for time not measured."""
from math import hypot
from typing import ClassVar

from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("usage", "usual_load")
MEMORY_DAYS = P.number("memory_days")
EDGE_S = P.number("edge_s")
#: In an hour that is never logged as much may flow either way, of the capacity on the label per hour.
UNSEEN_PER_H = P.number("unseen_per_h")
#: Between two readings the current wanders: doubt of a bridged gap of an hour, of the capacity, and how it grows with length.
BRIDGED_FRAC, BRIDGED_POWER = P.number("bridged_frac"), P.number("bridged_power")
#: A silence shorter than this says nothing of an hour; longer ones are gone through by such steps.
MISSED_S, STEP_S = P.number("missed_s"), P.number("step_s")
APART_SIGMA, ZERO_PER_H, SWITCHED_SIGMA = P.number("apart_sigma"), P.number("zero_per_h"), P.number("switched_sigma")
DAY_SIGMA_PER_H = P.number("day_sigma_per_h")


@dataclass(frozen=True, slots=True)
class UsualLoad:
    """Mean current into the battery by hour of the day, its variance from day to day, days seen, days not seen."""

    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"missed"})

    mean_a: tuple[float, ...] = (0.0,) * 24
    variance_a2: tuple[float, ...] = (0.0,) * 24
    days: tuple[float, ...] = (0.0,) * 24
    hour: int = -1                # the hour being gathered
    charge_as: float = 0.0
    seconds: float = 0.0
    missed: tuple[float, ...] = (0.0,) * 24

    def trust(self, hour: int) -> float:
        """How far what was seen of an hour stands for what happens in it, 0 to 1: a board that is off whenever the sun
        shines has seen that hour, and never its sun."""
        seen = self.days[hour]
        return seen / (seen + self.missed[hour]) if seen else 0.0


def learn(usual: UsualLoad, current_a: float, seconds: float, hour: float | None, at_s: float) -> UsualLoad:
    """Add a measured span. Without a clock, hours since the log began take the place of clock hours.

    usual: what is usual for this vehicle; current_a: into the house battery [A]; seconds: how long [s]; hour: local clock hour, None:
    not known; at_s: the log's time [s].
    """
    now = _hour(hour, at_s)
    if now == usual.hour or usual.seconds == 0.0:
        return UsualLoad(usual.mean_a, usual.variance_a2, usual.days, now, usual.charge_as + current_a * seconds, usual.seconds + seconds,
                         usual.missed)
    mean, variance, days, missed = list(usual.mean_a), list(usual.variance_a2), list(usual.days), list(usual.missed)
    h, seen = usual.hour, usual.charge_as / usual.seconds
    if usual.seconds > MISSED_S:
        days[h] = min(days[h] + 1.0, MEMORY_DAYS)
        missed[h] *= 1.0 - 1.0 / MEMORY_DAYS
        miss = seen - mean[h]
        mean[h] += miss / days[h]
        if days[h] > 1.0:
            variance[h] += (miss * miss - variance[h]) / days[h]
    return UsualLoad(tuple(mean), tuple(variance), tuple(days), now, current_a * seconds, seconds, tuple(missed))


def skip(usual: UsualLoad, gap_s: float, hour: float | None, at_s: float) -> UsualLoad:
    """Note that a gap that ends at at_s was not measured: its hours are known so much worse.

    usual: what is usual for this vehicle; gap_s: length of the gap [s]; hour: local clock hour at its end, None: not known;
    at_s: the log's time at its end [s].
    """
    if gap_s < MISSED_S:
        return usual
    missed, done = list(usual.missed), 0.0
    while done < min(gap_s, 86400.0 * MEMORY_DAYS):
        part = min(gap_s - done, STEP_S)
        h = _back(hour, at_s, done + part / 2)
        missed[h] = min(missed[h] + part / 3600.0, MEMORY_DAYS)
        done += part
    return replace(usual, missed=tuple(missed))


def guess(
    usual: UsualLoad, seconds: float, hour: float | None, at_s: float, gone_s: float, before_a: float, rated_ah: float,
) -> tuple[float, float]:
    """Charge that flowed into the battery in an unmeasured span that ends at at_s, and one sigma [Ah], while it goes on.

    gone_s is how long nothing had been measured when the span began. For half an hour things go on
    as before; after that the hour of the day decides. The sigmas of one gap's spans are to be added
    as they are, not their squares: a cloudy day is cloudy throughout.
    usual: what is usual for this vehicle; seconds: how long [s]; before_a: current before [A]; rated_ah: capacity on the label
    [Ah]; hour: local clock hour at its end, None: not known; at_s: the log's time at its end [s]; gone_s: unmeasured before it [s].
    """
    charge = sigma = done = 0.0
    while done < seconds:
        part = min(seconds - done, STEP_S)
        expected, spread = _expect(usual, _back(hour, at_s, seconds - done - part / 2), before_a, rated_ah)
        if gone_s + done < EDGE_S:
            # What was going on may have ended at any moment since.
            spread, expected = max(spread, APART_SIGMA * abs(expected - before_a)), before_a
        charge += expected * part / 3600.0
        sigma += (spread + ZERO_PER_H * rated_ah) * part / 3600.0
        done += part
    return charge, sigma


def bridge(
    usual: UsualLoad, gap_s: float, hour: float | None, at_s: float, before_a: float, after_a: float, rated_ah: float,
    seldom: bool = False,
) -> tuple[float, float]:
    """Charge that flowed into the battery in a whole gap that ends at at_s, and one sigma [Ah], once both sides are known.

    The readings on both sides come first: up to an hour their mean stands for all of it, and in a longer gap each for the
    half hour beside it. Only what lies between is left to the habits of the hour, as far as that hour was ever seen. How
    sure that is follows from the habits too: what a silence hid is not what was logged before and after it, unless the
    log is read so seldom always.
    usual: what is usual for this vehicle; gap_s: length of the gap [s]; hour: local clock hour at its end, None: not known;
    at_s: the log's time at its end [s]; before_a, after_a: current on both sides [A]; rated_ah: capacity on the label [Ah];
    seldom: readings always come so far apart.
    """
    both_a, edge_s = 0.5 * (before_a + after_a), min(0.5 * gap_s, EDGE_S)
    wandered = BRIDGED_FRAC * rated_ah * (gap_s / 3600.0) ** BRIDGED_POWER
    # what was going on on either side may have begun or ended at any moment
    switched = SWITCHED_SIGMA * abs(before_a - after_a) * 2.0 * edge_s / 3600.0
    charge = done = hidden = 0.0
    while done < gap_s:
        part = min(gap_s - done, STEP_S)
        expected, spread = _expect(usual, _back(hour, at_s, gap_s - done - part / 2), both_a, rated_ah)
        if done + part / 2 < edge_s:
            expected = before_a if gap_s > 2.0 * EDGE_S else both_a
        elif done + part / 2 > gap_s - edge_s:
            expected = after_a if gap_s > 2.0 * EDGE_S else both_a
        charge += expected * part / 3600.0
        hidden += spread * part / 3600.0
        done += part
    return charge, hypot(wandered, switched, 0.0 if seldom else hidden)


def _expect(usual: UsualLoad, hour: int, both_a: float, rated_ah: float) -> tuple[float, float]:
    """Current of an hour, and one sigma [A]: its habit as far as it was seen, else what went on beside the gap."""
    trust = usual.trust(hour)
    unseen = (1.0 - trust) * UNSEEN_PER_H * rated_ah
    if not usual.days[hour]:
        return both_a, unseen
    spread = (usual.variance_a2[hour] + (DAY_SIGMA_PER_H * rated_ah) ** 2 / usual.days[hour]) ** 0.5
    return trust * usual.mean_a[hour] + (1.0 - trust) * both_a, hypot(trust * spread, unseen)


def _back(hour: float | None, at_s: float, ago_s: float) -> int:
    """The hour of the day so long ago."""
    return _hour(None if hour is None else (hour - ago_s / 3600.0) % 24.0, at_s - ago_s)


def _hour(hour: float | None, at_s: float) -> int:
    return int((at_s / 3600.0 if hour is None else hour) % 24.0)
