"""A minute as few points: one where nothing moves, tenths of a minute where something does."""
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.sample import Minute

P = table("detection/join", "points")
QUIET_SPAN_V = P.number("quiet_span_v")
QUIET_SPAN_A = P.number("quiet_span_a")


@dataclass(frozen=True, slots=True)
class Point:
    """Means over span_s up to at_s. None: not measured. low_v is the lowest starter sample in it."""

    at_s: float
    span_s: float
    starter_v: float
    house_v: float | None
    house_a: float | None
    low_v: float | None


def points(minute: Minute) -> list[Point]:
    """The points of one minute that have a starter voltage, in order: one when it is quiet (the usual case, and cheap).

    Else samples at 30 s or 120 s are points as they are, and samples at 1 s become means of about
    ten seconds each.
    """
    samples = minute.samples
    count = len(samples)
    if count > 1 and _is_quiet(minute):
        # Not the minute's mean current: that looks back over its start.
        low, high = minute.house_current_low_a, minute.house_current_high_a
        if minute.starter_voltage_v is None:
            return []
        return [Point(minute.end_s, max(minute.duration_s, 1.0), minute.starter_voltage_v, minute.house_voltage_v,
                      None if low is None or high is None else (low + high) / 2, minute.starter_voltage_low_v)]
    out: list[Point] = []
    before_s = minute.start_s
    if count <= 6:
        for s in samples:
            if s.starter_voltage_v is not None:
                out.append(Point(s.at_s, max(s.at_s - before_s, 1.0), s.starter_voltage_v, s.house_voltage_v,
                                 s.house_current_a, s.starter_voltage_v))
            before_s = s.at_s
        return out
    each = -(-count // 6)
    for first in range(0, count, each):
        part = samples[first:first + each]
        starter = [s.starter_voltage_v for s in part if s.starter_voltage_v is not None]
        house = [s.house_voltage_v for s in part if s.house_voltage_v is not None]
        current = [s.house_current_a for s in part if s.house_current_a is not None]
        if starter:
            out.append(Point(
                part[-1].at_s, max(part[-1].at_s - before_s, 1.0),
                sum(starter) / len(starter), sum(house) / len(house) if house else None,
                sum(current) / len(current) if current else None, min(starter),
            ))
        before_s = part[-1].at_s
    return out


def _is_quiet(minute: Minute) -> bool:
    for low, high, span in (
        (minute.starter_voltage_low_v, minute.starter_voltage_high_v, QUIET_SPAN_V),
        (minute.house_voltage_low_v, minute.house_voltage_high_v, QUIET_SPAN_V),
        (minute.house_current_low_a, minute.house_current_high_a, QUIET_SPAN_A),
    ):
        if low is not None and high is not None and high - low > span:
            return False
    return True
