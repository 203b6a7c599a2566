"""The satellites' time from gpsd: a real server on loopback that says what gpsd says, nonsense, or nothing."""
import json
import socket
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.clocks.clock import Trust
from monitor.clocks.satellite_time import AGREE_S, SatelliteClock, SatelliteTime, fix
from monitor.clocks.testimony import NOT_BEFORE_UTC_S
from tests.hand_clock import NETWORK, NOBODY, HandClock
from tests.vehicle_by_hand import daemon, live

TRUE_UTC_S = 1.8e9
VERSION = b'{"class":"VERSION","release":"3.25","rev":"3.25","proto_major":3,"proto_minor":15}\r\n'
#: The shape of a report in gpsd_json(5).
EXAMPLE = (b'{"class":"TPV","device":"stdin","mode":3,"time":"2026-06-08T10:34:48.283Z","ept":0.005,"lat":46.498293369,'
           b'"lon":7.567411672,"alt":1343.127,"eph":36.000,"epv":32.321,"track":10.3788,"speed":0.091,"climb":-0.085}\r\n')


def report(utc_s: float, mode: int = 3, **more) -> bytes:
    """One TPV line."""
    told = datetime.fromtimestamp(utc_s, UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z"
    return json.dumps({"class": "TPV", "mode": mode, "time": told, **more}).encode() + b"\r\n"


class Gpsd:
    """A server that waits for WATCH and then says `lines` one by one, a moment apart; then keeps silent or hangs up."""

    def __init__(self, lines, pause_s: float = 0.02, hang_up: bool = False) -> None:
        self.lines, self.pause_s, self.hang_up, self.asked, self.calls = lines, pause_s, hang_up, b"", 0
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while not self._stop.is_set():
            try:
                link, _ = self._server.accept()
            except OSError:
                return
            self.calls += 1
            with link:
                try:
                    link.sendall(VERSION)
                    self.asked = link.recv(1024)
                    for line in self.lines(time.monotonic()) if callable(self.lines) else self.lines:
                        link.sendall(line)
                        if self._stop.wait(self.pause_s):
                            return
                    if not self.hang_up:
                        link.settimeout(10)
                        link.recv(1)
                except OSError:
                    pass

    def close(self) -> None:
        self._stop.set()
        self._server.shutdown(socket.SHUT_RDWR)
        self._server.close()
        self._thread.join(5)


class Ticking(HandClock):
    """A hand clock whose seconds since boot pass by themselves."""

    def boot_s(self) -> float:
        return time.monotonic()


@pytest.fixture
def listen() -> Iterator:
    open_things = []

    def make(lines, clock=None, **how) -> tuple[Gpsd, SatelliteTime]:
        server = Gpsd(lines, **{k: how.pop(k) for k in ("pause_s", "hang_up") if k in how})
        satellites = SatelliteTime("127.0.0.1", server.port, clock or Ticking(), **{"retry_s": 0.05, **how})
        open_things.extend((satellites, server))
        return server, satellites

    yield make
    for thing in open_things:
        thing.close()


def learnt(satellites: SatelliteTime, within_s: float = 5.0) -> tuple[float, float]:
    """Waits until a time was told."""
    end = time.monotonic() + within_s
    while satellites.utc_offset() is None:
        assert time.monotonic() < end, "no time was learnt"
        time.sleep(0.01)
    return satellites.utc_offset()


def good(began: float):
    """Two reports without a fix and with a wrong date, then right ones."""
    yield b'{"class":"DEVICES","devices":[{"class":"DEVICE","path":"/dev/ttyACM0","driver":"u-blox"}]}\r\n'
    yield b'{"class":"WATCH","enable":true,"json":true}\r\n'
    yield b'{"class":"TPV","device":"/dev/ttyACM0","mode":1}\r\n'
    yield report(TRUE_UTC_S - 4e8, mode=1)
    yield report(TRUE_UTC_S - 1024 * 7 * 86400.0)  # a rolled-over week
    while True:
        yield b'{"class":"SKY","device":"/dev/ttyACM0","satellites":[]}\r\n'
        yield report(TRUE_UTC_S + time.monotonic() - began, ept=0.005)


def test_the_documented_report_is_understood() -> None:
    assert fix(EXAMPLE) == (datetime(2026, 6, 8, 10, 34, 48, 283000, UTC).timestamp(), 0.5)


@pytest.mark.parametrize("line", [
    b"", b"{", b'"TPV"', b'{"class":"TPV"}', b'{"class":"TPV","mode":3}', b'{"class":"TPV","mode":3,"time":17}',
    b'{"class":"TPV","mode":3,"time":"soon"}', b'{"class":"TPV","mode":3,"time":"2026-06-08T10:34:48"}',
    b'{"class":"TPV","mode":3,"time":"2006-06-08T10:34:48Z"}', b'{"class":"TPV","mode":3,"time":"2126-06-08T10:34:48Z"}',
    b'{"class":"TPV","mode":1,"time":"2026-06-08T10:34:48Z"}', b'{"class":"TPV","mode":3,"time":"2026-06-08T10:34:48Z","ept":900}',
    b'{"class":"TPV","mode":3,"time":"2026-06-08T10:34:48Z","ept":"NaN"}', b'[' * 100000 + b'"TPV"', b'["TPV"]',
    b'{"class":"SKY","note":"TPV","mode":3,"time":"2026-06-08T10:34:48Z"}'], ids=range(16))
def test_a_line_that_tells_no_time_to_be_trusted_is_passed_over(line: bytes) -> None:
    assert fix(line) is None


@given(st.one_of(st.binary(max_size=300), st.binary(max_size=80).map(lambda b: EXAMPLE[:60] + b + EXAMPLE[60:]),
                 st.integers(0, len(EXAMPLE) - 3).map(lambda n: EXAMPLE[:n])))
def test_no_bytes_break_the_reader(line: bytes) -> None:
    found = fix(line)
    assert found is None or (found[0] >= NOT_BEFORE_UTC_S and found[1] > 0)


def test_the_time_is_learnt_and_the_line_hung_up(listen) -> None:
    began = time.monotonic()
    server, satellites = listen(good)
    offset_s, sigma_s = learnt(satellites)
    assert offset_s + began == pytest.approx(TRUE_UTC_S, abs=AGREE_S)
    assert 0.5 <= sigma_s < 0.6 and server.asked.startswith(b"?WATCH=") and server.calls == 1


@pytest.mark.parametrize("lines, hang_up", [
    ([], False), ([], True), ([b"\xff\xfe\x00garbage" * 400], False), ([b"x" * 40000] * 3, False), ([EXAMPLE] * 40, False),
    ([EXAMPLE[:100]], True), ([b'{"class":"ERROR","message":"nothing"}\r\n'], True)],
    ids=["silence", "hangs up", "garbage", "a line without end", "a receiver that stands still", "half a line", "an error"])
def test_silence_and_nonsense_teach_no_time_and_the_listener_lives_on(listen, lines, hang_up: bool) -> None:
    server, satellites = listen(lines, pause_s=0.005, hang_up=hang_up, listen_s=0.6)
    time.sleep(0.5)
    assert satellites.utc_offset() is None and satellites.alive()
    server.lines, server.hang_up, server.pause_s = good, False, 0.01
    learnt(satellites)


def test_no_gpsd_at_all_teaches_nothing_and_one_that_comes_later_is_heard() -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    satellites = SatelliteTime("127.0.0.1", port, Ticking(), retry_s=0.05)
    try:
        time.sleep(0.2)
        assert satellites.utc_offset() is None and satellites.alive()
    finally:
        satellites.close()
    assert not satellites.alive()


class Told:
    """Satellites by hand."""

    def __init__(self, offset_s: float | None, sigma_s: float = 0.5) -> None:
        self.offset_s, self.sigma_s = offset_s, sigma_s

    def utc_offset(self):
        return None if self.offset_s is None else (self.offset_s, self.sigma_s)


def test_the_satellites_stand_in_for_a_wall_clock_that_nobody_vouches_for_and_for_no_better_one() -> None:
    board = HandClock(boot_s=100.0, utc_s=0.0, trust=NOBODY)
    satellites = Told(None)
    clock = SatelliteClock(board, satellites)
    assert clock.utc_s() == 0.0 and not clock.trust().trusted
    satellites.offset_s = TRUE_UTC_S - 100.0
    assert clock.utc_s() == TRUE_UTC_S and clock.trust() == Trust(True, 0.5, "satellite time from gpsd")
    board.vouched = Trust(True, 60.0, "clock chip")
    assert clock.utc_s() == TRUE_UTC_S
    board.vouched = NETWORK
    assert clock.utc_s() == 0.0 and clock.trust() == NETWORK


def test_a_boot_is_dated_by_the_satellites_from_its_first_reading_on(tmp_path) -> None:
    from monitor.logbook.reader import Reader

    board, satellites = HandClock(boot_s=0.0, utc_s=0.0, trust=NOBODY), Told(None)
    life = daemon(tmp_path / "ampledger.db", clock=SatelliteClock(board, satellites))
    life.clock = board
    live(life, 300)
    life.daemon.writer.flush()
    assert not Reader(life.daemon.database).now().utc_trusted
    satellites.offset_s = TRUE_UTC_S - board.boot_s()
    live(life, 120)
    life.daemon.close()
    reader = Reader(life.daemon.database)
    assert reader.now().utc_trusted and reader.now().utc_sigma_s == 0.5
    assert reader.span()[0] == pytest.approx(TRUE_UTC_S - 300, abs=2)
    assert life.daemon.label.source == "satellite time from gpsd"
