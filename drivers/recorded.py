"""Plays a recorded log back: a CSV of seconds, volts, amperes and degrees, plain or gzipped."""
import csv
import gzip
import zlib
from collections.abc import Generator
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from drivers.errors import CannotOpen, ReadFailed
from drivers.reading import Reading

#: column in the file -> quantity
COLUMNS = {
    "house_v": "house_voltage_v", "house_a": "house_current_a", "starter_v": "starter_voltage_v",
    "house_temp_c": "house_temperature_c",
}


#: t_s, house_v, house_a, starter_v, house_temp_c
Row = tuple[float, float | None, float | None, float | None, float | None]


def columns(path: Path) -> Generator[Row, None, None]:
    """Rows as (t_s, house_v, house_a, starter_v, house_temp_c), blanks as None; the quick way for a replay.

    Other columns are passed over. Time must go on from row to row.

    Raises
    ------
    CannotOpen : no such file, or it has no such header
    ReadFailed : a row that is no row, naming file, line and what was seen
    """
    opener = gzip.open if path.suffix == ".gz" else open
    if path.is_dir():
        raise CannotOpen(f"{path}: this is a folder; name the recording in it")
    try:
        file = opener(path, "rt", newline="", encoding="utf-8")
    except OSError as error:
        raise CannotOpen(f"{path}: {error.strerror or error}") from error
    number = 1
    with file:
        lines = csv.reader(file)
        try:
            header = next(lines, [])
            names = [name.strip() for name in header]
            if "t_s" not in names or not set(COLUMNS) & set(names):
                raise CannotOpen(f"{path}, line 1: the header must name t_s and at least one of "
                                 f"{', '.join(COLUMNS)}; seen: {','.join(header)[:80] or 'nothing'}")
            at = names.index("t_s")
            places = [names.index(name) if name in names else -1 for name in COLUMNS]
            i, j, k, m = places
            whole = min(places) >= 0
            last = float("-inf")
            a: float | None
            b: float | None
            c: float | None
            d: float | None
            for number, row in enumerate(lines, 2):
                try:
                    t = float(row[at])
                    if whole and row[i] and row[j] and row[k] and row[m]:
                        a, b, c, d = float(row[i]), float(row[j]), float(row[k]), float(row[m])
                        total = a + b + c + d
                        if total - total != 0.0:  # infinite or not a number, somewhere
                            a, b, c, d = _finite(a), _finite(b), _finite(c), _finite(d)
                    else:
                        a, b, c, d = [float(row[p]) if p >= 0 and row[p] else None for p in places]
                        a, b, c, d = _finite(a), _finite(b), _finite(c), _finite(d)
                except (ValueError, IndexError) as error:
                    if not row:
                        continue
                    raise ReadFailed(f"{path}, line {number}: not a row of numbers: {','.join(row)[:80]}") from error
                if not last < t < float("inf"):
                    raise ReadFailed(f"{path}, line {number}: t_s = {row[at]} does not come after {last:g}: time goes backwards; "
                                     "sort the file by time and drop repeated rows")
                last = t
                yield t, a, b, c, d
        except (UnicodeDecodeError, csv.Error) as error:
            raise ReadFailed(f"{path}, after line {number}: this is not text; a recording is a CSV with one row of numbers a line, "
                             "plain or gzipped (.gz)") from error
        except (EOFError, OSError, zlib.error) as error:
            raise ReadFailed(f"{path}, after line {number}: {error}") from error


def _finite(value: float | None) -> float | None:
    return value if value is not None and abs(value) != float("inf") and value == value else None


class RecordedOptions(BaseModel):
    """Which recording."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    file: Path
    timeout_s: float = 0.5


class RecordedDriver:
    """One row a reading, with the row's own time. Raises ReadFailed at the end of the recording."""

    Options = RecordedOptions

    def __init__(self, options: RecordedOptions) -> None:
        self._file = options.file
        if not options.file.is_file():
            raise CannotOpen(f"{options.file}: there is no such recording")
        self._rows = columns(options.file)

    def read(self) -> Reading:
        try:
            at_s, *values = next(self._rows)
        except StopIteration:
            raise ReadFailed(f"{self._file}: the recording has ended") from None
        return Reading({q: v for q, v in zip(COLUMNS.values(), values, strict=True) if v is not None}, at_s=at_s)

    def close(self) -> None:
        self._rows.close()
