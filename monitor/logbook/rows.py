"""Minutes and forecasts as rows of the log."""
from collections.abc import Sequence
from typing import Any

from monitor.findings import Answer, Estimate
from monitor.pipeline import Findings
from monitor.sample import Minute, Sample
from monitor.store.batch import ForecastRow, LoggedMinute, MinuteRow
from monitor.store.columns import RAW, ROLLED, milliseconds, to_stored
from monitor.usage.counts import Tally

#: roll-up fields that are the minute's own
_OF_MINUTE = tuple(name for name in ROLLED if name in Minute.__slots__)
#: columns of the table minutes out of which a minute is made again
WANTED = ("end_ms", "start_ms", *(ROLLED[name][0] for name in _OF_MINUTE))
#: for each of the others: its name, what its stored whole number is divided by, whether a reading holds it too
_PLACES = [(name, ROLLED[name][1], name in RAW) for name in _OF_MINUTE]


def logged_minute(minute: Minute, found: Findings, counted_before: Tally) -> LoggedMinute:
    """One minute as the store takes it.

    minute: what was measured; found: what was concluded by its end; counted_before: all that had been counted before it.
    """
    return LoggedMinute(row=minute_row(minute, found, counted_before), forecast=forecast_row(found),
                        day_ms=milliseconds(found.counts.today.start_s), found=found)


def minute_row(minute: Minute, found: Findings, before: Tally) -> MinuteRow:
    """A row of the table minutes.

    minute: what was measured; found: what was concluded by its end; before: all that had been counted before it.
    """
    total = found.counts.total
    values: dict[str, float | None] = {name: getattr(minute, name) for name in _OF_MINUTE}
    for source in ("sun_ah", "alternator_ah", "other_ah"):
        values[source] = getattr(total, source) - getattr(before, source)
    low, value, high = _three(found.charge.charge_frac)
    values |= {"charge_frac": value, "charge_low_frac": low, "charge_high_frac": high,
               "capacity_ah": _three(found.charge.capacity_ah)[1],
               "isolator_closed_frac": {"open": 0.0, "closed": 1.0}.get(found.join.isolator),
               "engine_running_frac": {"off": 0.0, "cranking": 1.0, "running": 1.0}.get(found.join.engine),
               "load_a": _three(found.loads.load_a)[1], "harvest_a": _three(found.loads.harvest_a)[1],
               "curtailed_frac": float(found.loads.curtailed)}
    return (milliseconds(minute.end_s), milliseconds(minute.start_s),
            *[to_stored(values[name], scale) for name, (_, scale, _) in ROLLED.items()])


def minute_of(row: Sequence[int | None], hour: float | None, year_day: float | None) -> Minute:
    """A minute out of its row, to live through it again: one sample stands for all of it.

    Parameters
    ----------
    row : the columns WANTED
    hour, year_day : of its end, where a clock was trusted
    """
    end_s, start_s = (row[0] or 0) / 1000, (row[1] or 0) / 1000
    known: dict[str, Any] = {"hour": hour, "year_day": year_day}
    measured: dict[str, Any] = {"hour": hour, "year_day": year_day}
    for (name, scale, is_raw), stored in zip(_PLACES, row[2:], strict=True):
        if stored is not None:
            known[name] = stored / scale
            if is_raw:
                measured[name] = known[name]
    if not known.get("gap_s") and abs((end_s - start_s) - known.get("covered_s", 0.0)) < 1:
        known["covered_s"] = end_s - start_s
    return Minute(start_s, end_s, (Sample(end_s, **measured),), **known)


def forecast_row(found: Findings) -> ForecastRow:
    """A row of the table forecasts."""
    f = found.forecast
    return (milliseconds(found.at_s), f.reserve_in_s, f.reserve_in_low_s, f.reserve_in_high_s, f.probability_before_sun,
            f.lowest_frac, f.lowest_low_frac, f.lowest_high_frac, f.sun_back_in_s)


def _three(answer: Answer) -> tuple[float | None, float | None, float | None]:
    if not isinstance(answer, Estimate):
        return None, None, None
    return answer.low, answer.value, answer.high
