"""The time that a satellite receiver tells through gpsd: listened to now and then, laid over the board's own clock."""
import json
import logging
import socket
import threading
from collections import deque
from datetime import datetime
from math import hypot
from statistics import median

from monitor.clocks.clock import Clock, Trust, Witness
from monitor.clocks.testimony import NOT_AFTER_UTC_S, NOT_BEFORE_UTC_S, SATELLITES

log = logging.getLogger("ampledger.clock")

#: A report says the second of the fix and comes some tenths of a second after it; sigma of that [s].
REPORT_SIGMA_S = 0.5
#: An ordinary quartz is off by up to so much: what the board's clock adds between two looks.
QUARTZ_DRIFT_RATIO = 5e-5
#: So many fixes in a row, each later than the one before, must say the same within so much [s].
FIXES_COUNT, AGREE_S = 3, 1.0
#: Longest line taken: gpsd's own bound for one answer is 10240 bytes (gpsd_json(5)) [bytes].
LONGEST_LINE_BYTES = 32 * 1024
#: How long to listen for a fix, and the pauses after success and after failure [s].
LISTEN_S, AGAIN_S, RETRY_S = 600.0, 1800.0, 30.0
ASK = b'?WATCH={"enable":true,"json":true};\n'


def fix(line: bytes) -> tuple[float, float] | None:
    """UTC and its sigma [s] in one line of gpsd's, or None where it tells no time to be trusted.

    Only a report of class TPV with a fix (mode 2 or 3) counts: without one, `time` is the receiver's own guess
    (gpsd_json(5)).

    >>> fix(b'{"class":"TPV","mode":3,"time":"2026-06-21T10:34:48.283Z","ept":0.005}')
    (1782038088.283, 0.5)
    """
    if b'"TPV"' not in line:
        return None
    try:
        report = json.loads(line)
        if report["class"] != "TPV" or report["mode"] not in (2, 3):
            return None
        told = datetime.fromisoformat(report["time"])
        utc_s, error_s = told.timestamp(), float(report.get("ept", 0.0))
    except (ValueError, KeyError, TypeError, OverflowError, RecursionError):
        return None
    if told.tzinfo is None or not NOT_BEFORE_UTC_S <= utc_s < NOT_AFTER_UTC_S or not 0 <= error_s < 60:
        return None
    return utc_s, max(error_s, REPORT_SIGMA_S)


class SatelliteTime:
    """Listens to gpsd in a thread of its own until it knows the time, hangs up, and listens again half an hour later.

    Nothing that measures waits for it. utc_offset() is None until the receiver has said the same time three times.
    """

    def __init__(self, host: str, port: int, clock: Clock, *, listen_s: float = LISTEN_S, again_s: float = AGAIN_S,
                 retry_s: float = RETRY_S) -> None:
        self._place, self._clock = (host, port), clock
        self._listen_s, self._again_s, self._retry_s = listen_s, again_s, retry_s
        self._stop = threading.Event()
        self._told: tuple[float, float, float] | None = None  # UTC minus seconds since boot, its sigma, when [s]
        self._silent = False
        self.revive()

    def revive(self) -> None:
        """Starts the thread, at the start and where it has ended."""
        self._thread = threading.Thread(target=self._work, name="satellite time", daemon=True)
        self._thread.start()

    def utc_offset(self) -> tuple[float, float] | None:
        """UTC minus seconds since boot, and its sigma, both [s]."""
        if self._told is None:
            return None
        offset_s, sigma_s, at_s = self._told
        return offset_s, hypot(sigma_s, QUARTZ_DRIFT_RATIO * (self._clock.boot_s() - at_s))

    def alive(self) -> bool:
        """Whether the thread still works."""
        return self._thread.is_alive()

    def close(self) -> None:
        """Ends the thread."""
        self._stop.set()
        self._thread.join(2.0)

    def _work(self) -> None:
        while not self._stop.is_set():
            try:
                heard, why = self._listen(), "no fix"
            except OSError as error:
                heard, why = False, error.strerror or str(error)
            except Exception as error:  # a mistake here must not end the only one who may know the time
                heard, why = False, f"{type(error).__name__}: {error}"
                log.exception("listening to gpsd broke")
            if heard is self._silent:
                log.log(logging.INFO if heard else logging.WARNING,
                        "gpsd at %s:%d %s", *self._place, "tells the time" if heard else f"tells no time: {why}")
                self._silent = not heard
            self._stop.wait(self._again_s if heard else self._retry_s)

    def _listen(self) -> bool:
        """One call: whether the time was learnt from it."""
        until_s = self._clock.boot_s() + self._listen_s
        fixes: deque[tuple[float, float, float]] = deque(maxlen=FIXES_COUNT)
        with socket.create_connection(self._place, 5.0) as link:
            link.settimeout(0.5)
            link.sendall(ASK)
            rest = b""
            while not self._stop.is_set() and (now_s := self._clock.boot_s()) < until_s:
                try:
                    came = link.recv(4096)
                except TimeoutError:
                    continue
                if not came:
                    raise ConnectionError("it hung up")
                now_s = self._clock.boot_s()
                *lines, rest = (rest + came).split(b"\n")
                if len(rest) > LONGEST_LINE_BYTES:
                    raise ConnectionError(f"it sent a line of more than {LONGEST_LINE_BYTES} bytes")
                for line in lines:
                    if (found := fix(line)) and self._add_fix(fixes, now_s, *found):
                        return True
        return False

    def _add_fix(self, fixes: deque[tuple[float, float, float]], now_s: float, utc_s: float, sigma_s: float) -> bool:
        if fixes and utc_s <= fixes[-1][0]:
            fixes.clear()  # a receiver that stands still or goes back knows nothing
        fixes.append((utc_s, utc_s - now_s, sigma_s))
        offsets = [offset_s for _, offset_s, _ in fixes]
        if len(fixes) < FIXES_COUNT or max(offsets) - min(offsets) > AGREE_S:
            return False
        self._told = (median(offsets), max(sigma for *_, sigma in fixes), now_s)
        return True


class SatelliteClock:
    """A board's clock, and the satellites' time in place of its wall clock where that is the better one."""

    def __init__(self, board: Clock, satellites: SatelliteTime) -> None:
        self._board, self._satellites = board, satellites
        self.boot_s, self.boot_id, self.hour, self.wait = board.boot_s, board.boot_id, board.hour, board.wait

    def utc_s(self) -> float:
        told = self._better()
        return self._board.utc_s() if told is None else self._board.boot_s() + told[0]

    def trust(self) -> Trust:
        told = self._better()
        return self._board.trust() if told is None else Trust(True, told[1], SATELLITES)

    def witnesses(self) -> tuple[Witness, ...]:
        """Satellites, kernel and chip, each by itself."""
        told, board = self._satellites.utc_offset(), self._board.trust()
        found = () if told is None else (Witness(self._board.boot_s() + told[0], told[1], SATELLITES),)
        mine = (Witness(self._board.utc_s(), board.sigma_s, board.source),) if board.trusted else ()
        return (*found, *mine, *self._board.witnesses())

    def _better(self) -> tuple[float, float] | None:
        told = self._satellites.utc_offset()
        if told is not None and (board := self._board.trust()).trusted and board.sigma_s <= told[1]:
            return None
        return told
