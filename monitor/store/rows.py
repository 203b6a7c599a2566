"""Samples and minutes as rows of the log, and rows as samples again."""
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from monitor.findings import Answer, Estimate
from monitor.pipeline import Findings
from monitor.sample import Minute, Sample
from monitor.store.columns import RAW, ROLLED, milliseconds, to_stored
from monitor.usage.counts import Tally

_RAW_FIELDS = attrgetter(*RAW)
_RAW_SCALES = tuple(scale for _, scale in RAW.values())
#: roll-up fields that are the minute's own
_OF_MINUTE = tuple(name for name in ROLLED if name in Minute.__slots__)


@dataclass(frozen=True, slots=True)
class LoggedMinute:
    """One minute, what was concluded by its end, and what had been counted before it."""

    minute: Minute
    found: Findings
    counted_before: Tally


#: a row of the table samples: its moment, then the values
SampleRow = tuple[int, *tuple[int | None, ...]]
#: a row of the table minutes: its end, its start, then the values
MinuteRow = tuple[int, int, *tuple[int | None, ...]]
#: a row of the table forecasts: its moment, then the values
ForecastRow = tuple[int, *tuple[float | None, ...]]


def sample_row(sample: Sample) -> SampleRow:
    """A row of the table samples."""
    return (milliseconds(sample.at_s), *[
        None if value is None else round(value * scale) for value, scale in zip(_RAW_FIELDS(sample), _RAW_SCALES, strict=True)])


def sample_of(row: SampleRow) -> Sample:
    """The sample of a row of the table samples, to the stored digits."""
    values: dict[str, Any] = {name: None if value is None else value / scale
                              for name, value, scale in zip(RAW, row[1:], _RAW_SCALES, strict=True)}
    return Sample(at_s=row[0] / 1000, **values)


def minute_row(lived: LoggedMinute) -> MinuteRow:
    """A row of the table minutes."""
    minute, found, before, total = lived.minute, lived.found, lived.counted_before, lived.found.counts.total
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


def forecast_row(found: Findings) -> ForecastRow:
    """A row of the table forecasts."""
    f = found.forecast
    return (milliseconds(found.at_s), f.reserve_in_s, f.reserve_in_low_s, f.reserve_in_high_s, f.probability_before_sun,
            f.lowest_frac, f.lowest_low_frac, f.lowest_high_frac, f.sun_back_in_s)


def _three(answer: Answer) -> tuple[float | None, float | None, float | None]:
    if not isinstance(answer, Estimate):
        return None, None, None
    return answer.low, answer.value, answer.high
