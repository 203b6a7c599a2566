"""What the coming night will be like, from the last one and how much colder it has become since: half hour by half hour."""
from monitor.parameters import table
from monitor.replacing import dataclass

SLOT_S = 1800.0
DAY_SLOTS = 48

P = table("detection", "temperature_trend")
TREND_SLOTS = P.count("trend_slots")
LEAST_SLOTS = P.count("least_slots")
KEPT = DAY_SLOTS + TREND_SLOTS
SHARE, NIGHT_S = P.number("share"), P.number("night_s")
MOST_K = P.number("most_k")
EVENING_HOUR, MORNING_HOUR = P.number("evening_hour"), P.number("morning_hour")


@dataclass(frozen=True, slots=True)
class TemperatureTrend:
    """Half-hour means of a temperature, the latest last; None where it was not measured."""

    slot: int = -1
    sum_c: float = 0.0
    count: int = 0
    past_c: tuple[float | None, ...] = ()


def update(trend: TemperatureTrend, at_s: float, temperature_c: float | None) -> TemperatureTrend:
    """The trend with one more temperature; a slot that is over is kept as its mean.

    trend: the temperatures so far; at_s: the log's time [s]; temperature_c: the latest [°C].
    """
    slot = int(at_s // SLOT_S)
    if slot == trend.slot:
        if temperature_c is None:
            return trend
        return TemperatureTrend(slot, trend.sum_c + temperature_c, trend.count + 1, trend.past_c)
    if trend.slot < 0:
        return TemperatureTrend(slot, temperature_c or 0.0, temperature_c is not None)
    mean = round(trend.sum_c / trend.count, 3) if trend.count else None
    missing = min(slot - trend.slot - 1, KEPT)
    past = (*trend.past_c, mean, *(None,) * missing)[-KEPT:]
    return TemperatureTrend(slot, temperature_c or 0.0, int(temperature_c is not None), past)


def change_k(trend: TemperatureTrend) -> float | None:
    """How much warmer the last hours were than the same hours a day before [K]; None until a day has been seen."""
    past = trend.past_c
    pairs = [(past[i], past[i - DAY_SLOTS]) for i in range(max(len(past) - TREND_SLOTS, DAY_SLOTS), len(past))]
    found = [now - before for now, before in pairs if now is not None and before is not None]
    if len(found) < LEAST_SLOTS:
        return None
    return min(max(sum(found) / len(found), -MOST_K), MOST_K)


def expected_c(trend: TemperatureTrend, in_s: float) -> float | None:
    """What it will be in so many seconds (up to a day) [°C]: as at that hour of the last day, and part of the change since."""
    change, ahead = change_k(trend), int(in_s // SLOT_S)
    if change is None or not 0 <= ahead < DAY_SLOTS:
        return None
    before = trend.past_c[len(trend.past_c) - DAY_SLOTS + ahead]
    return None if before is None else before + SHARE * change


def coming_low_c(trend: TemperatureTrend, within_s: float = NIGHT_S) -> float | None:
    """The lowest it is expected to come to within some hours [°C], None until a day has been seen."""
    change = change_k(trend)
    if change is None:
        return None
    first = len(trend.past_c) - DAY_SLOTS
    seen = [c for c in trend.past_c[first:first + int(within_s // SLOT_S)] if c is not None]
    return min(seen) + SHARE * change if seen else None


def evening(hour: float | None) -> bool:
    """Whether the coming night is near enough to be told of; without a clock always."""
    return hour is None or hour >= EVENING_HOUR or hour < MORNING_HOUR
