"""Samples as rows of the table samples, and rows as samples again."""
from operator import attrgetter
from typing import Any

from monitor.sample import Sample
from monitor.store.columns import RAW, milliseconds

_RAW_FIELDS = attrgetter(*RAW)
_RAW_SCALES = tuple(scale for _, scale in RAW.values())

#: a row of the table samples: its moment, then the values
SampleRow = tuple[int, *tuple[int | None, ...]]


def sample_row(sample: Sample) -> SampleRow:
    """A row of the table samples."""
    return (milliseconds(sample.at_s), *[
        None if value is None else round(value * scale) for value, scale in zip(_RAW_FIELDS(sample), _RAW_SCALES, strict=True)])


def sample_of(row: SampleRow, hour: float | None = None, year_day: float | None = None) -> Sample:
    """The sample of a row of the table samples, to the stored digits.

    row: of the table; hour, year_day: of its moment, where a clock was trusted.
    """
    values: Any = [None if value is None else value / scale for value, scale in zip(row[1:], _RAW_SCALES, strict=True)]
    values += (hour, year_day)
    return Sample(row[0] / 1000, *values)  # RAW is in the order of its fields; a test keeps it so
