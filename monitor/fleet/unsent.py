"""The board's side: what of its log the collector has not got yet, as the parts of the next batch. Reads the log, keeps nothing."""
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import Any

from monitor.alerts.rules import Alert
from monitor.battery.label import Vehicle
from monitor.fleet.batch import Part, columns_part, lines_part
from monitor.store import saving
from monitor.store.checksum import checksum_of
from monitor.store.reading import utc_s
from monitor.store.view import View

#: Rows of each level in one batch (choice: two days of minutes are some 40 kB).
ROWS_AT_ONCE = {"minutes": 2880, "quarters": 192, "hours": 48}
#: Other rows of one table in one batch (choice).
LINES_AT_ONCE = 500
#: Tables whose rows may still change: told by a checksum for each.
CHANGING = ("boots", "days", "alerts", "gaps", "meta")
#: Words about the log that a fleet has a use for; all others stay on the board. The vehicle is sent without its place.
WORDS = ("vehicle", "simulated", "sources", "wiring", "batteries")


@dataclass(frozen=True, slots=True)
class Privacy:
    """What is sent beyond the batteries' figures: nothing, unless the owner switches it on."""

    position: bool = False      # latitude and longitude in the configuration
    names: bool = False         # who acknowledged an alert


@dataclass(frozen=True, slots=True)
class Cursors:
    """How far the log was published: ends of levels [ms], numbers, and of changing rows the checksums.

    last_crc is the checksum of the last published minute: a log in which it is another one has been put back.
    """

    minutes: int = -(2**62)
    quarters: int = -(2**62)
    hours: int = -(2**62)
    forecasts: int = -(2**62)
    events: int = 0
    findings: int = -(2**62)
    last_crc: int = 0
    known: dict[str, dict[str, int]] = field(default_factory=dict)

    def as_plain(self) -> dict[str, Any]:
        """What travels with a batch: all but the checksums, which the collector works out for itself."""
        return {name: getattr(self, name) for name in _NAMES}


_NAMES = ("minutes", "quarters", "hours", "forecasts", "events", "findings", "last_crc")


def cursors_from(plain: dict[str, Any], known: dict[str, dict[str, int]]) -> Cursors:
    """Cursors that a collector gave back; what it does not know begins anew."""
    whole = {name: plain[name] for name in _NAMES if isinstance(plain.get(name), int)}
    return Cursors(**whole, known={table: dict(known.get(table, {})) for table in CHANGING})


@dataclass(frozen=True, slots=True)
class Unsent:
    """The next parts, where the cursors are after them, and whether more waits."""

    parts: tuple[Part, ...]
    cursors: Cursors
    more: bool


def next_parts(log: View, at: Cursors, privacy: Privacy, rows_at_once: dict[str, int] = ROWS_AT_ONCE) -> Unsent:
    """What comes after the cursors, oldest first, as much as fits one batch.

    Parameters
    ----------
    log : the board's log, open for reading
    at : how far it was published
    privacy : what of the owner's may be sent
    rows_at_once : rows of each level in one batch
    """
    parts: list[Part] = []
    more = False
    known = {table: dict(at.known.get(table, {})) for table in CHANGING}
    for table in CHANGING:  # labels first: a collector dates what comes by them
        rows = _changed_rows(log, table, known[table], privacy)
        more |= len(rows) > LINES_AT_ONCE
        if rows := rows[:LINES_AT_ONCE]:
            known[table] |= {key_of(table, row): checksum_of(table)(row) for row in rows}
            parts.append(lines_part(table, rows))
    ends: dict[str, int] = {}
    for level in ("minutes", "quarters", "hours"):
        rows = _take(log.rows_of_level(level, getattr(at, level), 2**62), rows_at_once[level] + 1)
        more |= len(rows) > rows_at_once[level]
        if rows := rows[:rows_at_once[level]]:
            parts += [columns_part(level, list(of_day)) for _, of_day in groupby(rows, lambda row: _day(log, row[0]))]
            ends[level] = rows[-1][0]
            if level == "minutes":
                ends["last_crc"] = checksum_of("minutes")(rows[-1])
    for table, column in (("forecasts", "at_ms"), ("events", "id")):
        rows = log.rows(table, f"where {column} > ? order by {column} limit ?", (getattr(at, table), LINES_AT_ONCE + 1))
        more |= len(rows) > LINES_AT_ONCE
        if rows := rows[:LINES_AT_ONCE]:
            parts.append(lines_part(table, rows))
            ends[table] = rows[-1][0]
    after = replace(at, known=known, **ends)
    if not more:
        at_ms, text = log.findings_text()
        if text is not None and at_ms > at.findings:
            parts.append(lines_part("findings", [(at_ms, text)], ("at_ms", "text")))
            after = replace(after, findings=at_ms)
    return Unsent(tuple(parts), after, more)


def _day(log: View, end_ms: int) -> int:
    """The day (UTC) of a row that ends then, counted: the collection files by it, and then need not pack anew."""
    return int(utc_s(log.labels, end_ms - 1) // 86400)


def key_of(table: str, row: tuple[Any, ...]) -> str:
    """What names a changing row among those of its table."""
    return f"{row[0]}/{row[1]}" if table == "gaps" else str(row[0])


def goes_on(log: View, at: Cursors) -> bool:
    """Whether the log still holds the minute that was published last, as it was published."""
    return at.minutes <= 0 or _has(log, at.minutes, at.last_crc)


def common_end(log: View, marks: list[tuple[int, int]]) -> int | None:
    """The latest published minute that the log holds too [ms], None where it holds none: it is another log.

    marks: (end [ms], checksum) of minutes that the collector has, the latest first.
    """
    return next((end for end, crc in marks if _has(log, end, crc)), None)


def _has(log: View, end_ms: int, crc: int) -> bool:
    return any(checksum_of("minutes")(row) == crc for row in log.rows_of_level("minutes", end_ms - 1, end_ms))


def _changed_rows(log: View, table: str, known: dict[str, int], privacy: Privacy) -> list[tuple[Any, ...]]:
    rows = [clean for row in log.rows(table) if (clean := _clean(table, row, privacy)) is not None]
    return [row for row in rows if known.get(key_of(table, row)) != checksum_of(table)(row)]


def _clean(table: str, row: tuple[Any, ...], privacy: Privacy) -> tuple[Any, ...] | None:
    """The row without what is nobody's business; None where nothing is left."""
    if table == "meta":
        return _WASH.get(row[0], lambda row, _: row if row[0] in WORDS else None)(row, privacy)
    if table == "alerts" and not privacy.names:
        with suppress(ValueError):
            alert = saving.from_text(Alert, row[4])
            if alert.acknowledged_by:
                return (*row[:4], saving.to_text(replace(alert, acknowledged_by="")))
    return row


def _vehicle(row: tuple[Any, ...], privacy: Privacy) -> tuple[Any, ...] | None:
    if privacy.position:
        return row
    try:
        vehicle = saving.from_text(Vehicle, row[1])
    except ValueError:  # another version's; it might hold the place
        return None
    return row[0], saving.to_text(replace(vehicle, latitude_deg=None, longitude_deg=None))


_WASH: dict[str, Callable[[tuple[Any, ...], Privacy], tuple[Any, ...] | None]] = {"vehicle": _vehicle}


def _take(rows: Iterator[tuple[Any, ...]], count: int) -> list[tuple[Any, ...]]:
    return [row for row, _ in zip(rows, range(count), strict=False)]
