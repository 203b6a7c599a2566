"""Opens the log to read it: never writes, never waits long, keeps nothing open between questions."""
import sqlite3
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from monitor.store.delta_compression import restore


class NoLog(Exception):
    """There is no log to read at that place, or not one of this program."""


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the line of time with one label: UTC is at + offset, give or take sigma."""

    at_ms: int
    until_ms: int
    utc_offset_ms: int
    utc_sigma_s: float
    utc_trusted: bool


@contextmanager
def open_for_reading(path: Path) -> Iterator[sqlite3.Connection]:
    """The log, for one question or a few that belong together.

    The sqlite3 module without SQLAlchemy: it saves a page server 28 MB and each question 0.1 ms.

    Raises
    ------
    NoLog : no such file, or it is no log
    """
    if not path.exists():
        raise NoLog(f"{path}: there is no log yet; start `ampledger run`, or name the right --database")
    try:
        with closing(_connect(path)) as connection:
            connection.execute("begin")  # one moment of the log for all that is asked
            yield connection
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorname", "") == "SQLITE_NOTADB" or "no such table" in str(error):
            raise NoLog(f"{path}: this is not a log of ampledger") from error
        raise


def _connect(path: Path) -> sqlite3.Connection:
    place = f"{path.resolve().as_uri()}?mode=ro"
    connection = sqlite3.connect(place, uri=True, timeout=5, isolation_level=None)
    try:
        connection.execute("select 1 from sqlite_master limit 1").fetchone()
        return connection
    except sqlite3.OperationalError as error:
        connection.close()
        # a log that nobody writes, in a folder that we may not write: safe to read as it lies
        wal = path.with_name(path.name + "-wal")
        if error.sqlite_errorname.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY")) and not _any(wal):
            return sqlite3.connect(f"{place}&immutable=1", uri=True, isolation_level=None)
        raise


def _any(file: Path) -> bool:
    return file.exists() and file.stat().st_size > 0


def spans(connection: sqlite3.Connection) -> list[Span]:
    """How the line of time is labelled, in order."""
    rows = connection.execute(
        "select at_ms, utc_offset_ms, utc_sigma_s, utc_trusted from boots order by at_ms").fetchall()
    ends = [row[0] for row in rows[1:]] + [2**62]
    return [Span(at, end, offset, sigma, bool(trusted)) for (at, offset, sigma, trusted), end in zip(rows, ends)]


def label_at(labels: list[Span], at_ms: int) -> Span:
    """The stretch that a moment lies in; before the first, the first."""
    for span in reversed(labels):
        if span.at_ms <= at_ms:
            return span
    return labels[0] if labels else Span(0, 2**62, 0, float("inf"), False)


def utc_s(labels: list[Span], at_ms: int) -> float:
    """UTC of a moment of the line of time, as well as it is known [s]."""
    return (at_ms + label_at(labels, at_ms).utc_offset_ms) / 1000


def pieces(labels: list[Span], from_utc_s: float, to_utc_s: float) -> list[tuple[int, int, int]]:
    """The stretches of the line of time inside a span of UTC, as (after, up to and including, offset) [ms]."""
    found = []
    for i, span in enumerate(labels):
        first = -(2**62) if i == 0 else span.at_ms - 1
        after = max(first, round(from_utc_s * 1000) - span.utc_offset_ms - 1)
        until = min(span.until_ms - 1, round(to_utc_s * 1000) - span.utc_offset_ms)
        if after < until:
            found.append((after, until, span.utc_offset_ms))
    return found


def findings_text(rows: list[tuple[int, int, int, bytes]]) -> tuple[int, str | None]:
    """(at_ms, text) of the latest findings, from the rows of that table; the text is None where it is damaged."""
    found = {number: (at_ms, crc, body) for number, at_ms, crc, body in rows}
    if 1 not in found:
        return 0, None
    at_ms, crc, body = found[1]
    text = text_of(crc, body)
    if text is not None and 2 in found:
        at_ms, crc, body = found[2]
        if zlib.crc32(body, zlib.crc32(text.encode())) == crc:
            return at_ms, restore(body, text)
    return found[1][0], text


def text_of(crc: int, body: bytes) -> str | None:
    """The text in a checked blob, or None where it is damaged."""
    return zlib.decompress(body).decode() if zlib.crc32(body) == crc else None
