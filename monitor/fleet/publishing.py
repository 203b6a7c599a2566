"""The board's talk with the collector: asks how far it came, sends what is missing batch by batch, and can be cut off anywhere.

The collector is the one that knows how far it came; the board keeps nothing of it on its card.
"""
import json
import ssl
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from monitor.fleet.batch import MOST_BYTES, FleetBatch, encode
from monitor.fleet.unsent import ROWS_AT_ONCE, Cursors, Privacy, common_end, cursors_from, goes_on, next_parts
from monitor.store.checksum import checksum_of
from monitor.store.view import View, open_view

#: So often the collector's state is asked for anew when it disagrees about the next number [count].
TRIES = 3
#: An answer of the collector is at most so long [bytes] (choice: years of changing rows are some 100 kB).
MOST_ANSWER = 8 * 1024 * 1024


class NoConnection(Exception):
    """The collector was not reached, or the connection was cut; it is tried again later."""


class Refused(Exception):
    """The collector turns the board away, and says why; word is for programs."""

    def __init__(self, word: str, sentence: str) -> None:
        super().__init__(sentence)
        self.word = word


class Line(Protocol):
    """A way to the collector."""

    def ask(self, place: str, data: bytes | None = None) -> tuple[int, dict[str, Any]]:
        """(status, answer) of a request, a POST where there are data. Raises NoConnection."""


class Https:
    """A way over HTTPS (RFC 9110), the certificate and the name in it checked.

    Raises, when made
    -----------------
    ValueError : the address is neither https nor on this board, or a certificate file cannot be read
    """

    def __init__(self, url: str, key: str, board: str, ca_file: Path | None = None, timeout_s: float = 30.0) -> None:
        self._url, self._timeout_s = url.rstrip("/"), timeout_s
        self._headers = {"Authorization": f"Bearer {key}", "Ampledger-Board": board, "Content-Type": "application/octet-stream"}
        self._context = None
        if url.startswith("https://"):
            try:
                self._context = ssl.create_default_context(cafile=ca_file)
            except (OSError, ssl.SSLError) as error:
                raise ValueError(f"[fleet] ca_file {ca_file}: {error.strerror or error}") from None
        elif not url.startswith(("http://127.0.0.1:", "http://localhost:", "http://[::1]:")):
            raise ValueError(f"[fleet] url {url!r}: write https://…; the key must not travel in the open")

    def ask(self, place: str, data: bytes | None = None) -> tuple[int, dict[str, Any]]:
        request = urllib.request.Request(self._url + place, data, self._headers)
        try:
            with urllib.request.urlopen(request, timeout=self._timeout_s, context=self._context) as answer:
                return answer.status, _table(answer.read(MOST_ANSWER))
        except urllib.error.HTTPError as error:
            with error:
                return error.code, _table(error.read(MOST_ANSWER))
        except (OSError, ValueError, urllib.error.URLError) as error:
            raise NoConnection(f"{self._url} was not reached: {getattr(error, 'reason', error)}") from None
        except Exception as error:  # http.client: an answer that breaks off
            raise NoConnection(f"{self._url} broke off: {type(error).__name__}") from None


@dataclass(frozen=True, slots=True)
class Sent:
    """What one talk achieved."""

    batches: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Publisher:
    """One board's way of publishing its log.

    database : the log; line : to the collector; board, version : as the batches say; privacy : what may be sent
    rows_at_once : rows of each level in one batch, where other than usual
    """

    database: Path
    line: Line
    board: str
    version: str
    privacy: Privacy = Privacy()
    rows_at_once: dict[str, int] | None = None

    def publish(self, now_utc_s: Callable[[], float], go_on: Callable[[], bool] = lambda: True) -> Sent:
        """Sends what the collector has not got, until it has all or go_on says no.

        Raises
        ------
        NoConnection : the line broke; what was answered before is safe there
        Refused : the collector turned a batch away
        monitor.store.reading.NoLog, sqlite3.Error, OSError : the log cannot be read
        """
        count = size = 0
        for _ in range(TRIES):
            number, cursors = self._state()
            back_to_ms, begin_line = None, False
            with open_view(self.database) as log:
                if not goes_on(log, cursors):
                    back_to_ms = self._common_end(log)
                    begin_line = back_to_ms is None
                    cursors = Cursors() if back_to_ms is None else _cut(log, cursors, back_to_ms)
            while go_on():
                data, after, more = self._next(number + 1, cursors, back_to_ms, begin_line, now_utc_s())
                if data is None:
                    return Sent(count, size)
                status, answer = self.line.ask("/fleet/v1/batches", data)
                if status == 409 and answer.get("word") == "number":
                    break  # somebody was cut off in the middle: ask how far it came
                if status != 200:
                    raise _refusal(status, answer)
                number, cursors, back_to_ms, begin_line = number + 1, after, None, False
                count, size = count + 1, size + len(data)
                if not more:
                    return Sent(count, size)
            else:
                return Sent(count, size)
        raise NoConnection("the collector and this board do not agree on what comes next; it is tried again")

    def _next(self, number: int, cursors: Cursors, back_to_ms: int | None, begin_line: bool,
              made_utc_s: float) -> tuple[bytes | None, Cursors, bool]:
        """(batch, cursors after it, whether more waits); the batch is None where nothing is left to send."""
        share = 1
        while True:
            rows = {level: max(count // share, 1) for level, count in (ROWS_AT_ONCE | (self.rows_at_once or {})).items()}
            with open_view(self.database) as log:
                unsent = next_parts(log, cursors, self.privacy, rows)
            if not unsent.parts:
                return None, unsent.cursors, False
            data = encode(FleetBatch(self.board, number, made_utc_s, self.version, unsent.parts, unsent.cursors.as_plain(), back_to_ms,
                                     begin_line))
            if len(data) <= MOST_BYTES or share >= 16:
                return data, unsent.cursors, unsent.more
            share *= 2

    def _state(self) -> tuple[int, Cursors]:
        status, answer = self.line.ask("/fleet/v1/state")
        if status != 200:
            raise _refusal(status, answer)
        try:
            return int(answer["number"]), cursors_from(answer["cursors"], answer["known"])
        except (KeyError, TypeError, ValueError, AttributeError):
            raise NoConnection("what answers there is no collector of ampledger") from None

    def _common_end(self, log: View) -> int | None:
        """Where log and collection part, to the minute [ms]; None where they have nothing in common."""
        day_ms = common_end(log, self._marks("/fleet/v1/marks"))
        minute_ms = common_end(log, self._marks(f"/fleet/v1/marks?after={-(2**61) if day_ms is None else day_ms}"))
        return day_ms if minute_ms is None else minute_ms

    def _marks(self, place: str) -> list[tuple[int, int]]:
        status, answer = self.line.ask(place)
        if status != 200:
            raise _refusal(status, answer)
        try:
            return [(int(end), int(crc)) for end, crc in answer["marks"]]
        except (KeyError, TypeError, ValueError):
            raise NoConnection("what answers there is no collector of ampledger") from None


def _cut(log: View, cursors: Cursors, end_ms: int) -> Cursors:
    """The cursors of a log that goes on from an earlier moment than was published; its changing rows are all sent again."""
    minute = next(iter(log.rows_of_level("minutes", end_ms - 1, end_ms)))
    events = log.rows("events", "where at_ms <= ? order by id desc limit 1", (end_ms,))
    return replace(cursors, minutes=end_ms, quarters=min(cursors.quarters, end_ms), hours=min(cursors.hours, end_ms),
                   forecasts=min(cursors.forecasts, end_ms), findings=min(cursors.findings, end_ms),
                   events=events[0][0] if events else 0, last_crc=checksum_of("minutes")(minute), known={})


def _refusal(status: int, answer: dict[str, Any]) -> Exception:
    if status >= 500 or status in (408, 429):
        return NoConnection(f"the collector has trouble of its own (status {status})")
    return Refused(str(answer.get("word", "")), str(answer.get("sentence") or f"the collector answers with status {status}")[:500])


def _table(data: bytes) -> dict[str, Any]:
    try:
        found = json.loads(data)
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
