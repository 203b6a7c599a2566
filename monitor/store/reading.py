"""Opens the log to read it: never writes, never waits long, keeps nothing open between questions."""
import sqlite3
import struct
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from monitor.store.checksum import columns_of, is_sound
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
    with explain_errors(path), closing(_connect(path)) as connection:
        connection.execute("begin")  # one moment of the log for all that is asked
        yield connection


@contextmanager
def explain_errors(path: Path) -> Iterator[None]:
    """What SQLite says of a file that is no log of the present shape, in words. Raises NoLog."""
    try:
        yield
    except sqlite3.DatabaseError as error:
        if getattr(error, "sqlite_errorname", "") == "SQLITE_NOTADB" or "no such table" in str(error):
            raise NoLog(f"{path}: this is not a log of ampledger") from error
        if "no such column" in str(error):
            raise NoLog(f"{path}: an earlier ampledger wrote it; `ampledger run` brings it to the present shape, or "
                        "`ampledger restore` puts it in the place of the log") from error
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
    found = connection.execute(f"select {columns_of('boots')} from boots order by at_ms")
    rows = [(row[0], row[2], row[3], row[4]) for row in found if is_sound("boots", row)]
    ends = [row[0] for row in rows[1:]] + [2**62] if rows else []
    return [Span(at, end, offset, sigma, bool(trusted)) for (at, offset, sigma, trusted), end in zip(rows, ends, strict=True)]


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
    """The stretches of the line of time inside a span of UTC, as (after, up to and including, offset) [ms].

    labels: what makes UTC of the log's time, by stretch; from_utc_s, to_utc_s: the span, UTC [s].
    """
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
    text = text_of(*found[1])
    if text is not None and 2 in found:
        at_ms, crc, body = found[2]
        with suppress(struct.error, TypeError):
            if crc in (shrunk_crc(at_ms, body, text), zlib.crc32(body, zlib.crc32(text.encode()))):
                return at_ms, restore(body, text)
    return found[1][0], text


def blob_row(at_ms: int, text: str) -> tuple[int, int, bytes]:
    """(at_ms, crc, body): a text packed, under a checksum over moment and body."""
    body = zlib.compress(text.encode(), 6)
    return at_ms, _blob_crc(at_ms, body), body


def shrunk_crc(at_ms: int, body: bytes, like: str) -> int:
    """The checksum of findings that were shrunk by others.

    at_ms: when they were found [ms]; body: shrunk; like: text of those they were shrunk by.
    """
    return zlib.crc32(body, zlib.crc32(like.encode(), zlib.crc32(struct.pack("<q", at_ms))))


def text_of(at_ms: int, crc: int, body: bytes) -> str | None:
    """The text in a checked blob, or None where it is damaged. Rows from before shape 0003 have a checksum over the body alone.

    at_ms: when it was written [ms]; crc: its checksum; body: compressed.
    """
    try:
        if crc not in (_blob_crc(at_ms, body), zlib.crc32(body)):
            return None
    except (struct.error, TypeError):  # something else where a number or a blob was
        return None
    return zlib.decompress(body).decode()


def _blob_crc(at_ms: int, body: bytes) -> int:
    return zlib.crc32(body, zlib.crc32(struct.pack("<q", at_ms)))
