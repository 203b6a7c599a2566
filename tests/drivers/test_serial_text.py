"""Lines of text on a serial port, byte by byte, on a pseudo-terminal."""
import os
import threading
import time
import tty
from pathlib import Path

import pytest
from pydantic import ValidationError

from drivers.errors import CannotOpen, ReadFailed
from drivers.serial_text import SerialTextDriver


class Port:
    """Our end of a pseudo-terminal, and the name of the other."""

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.name = os.ttyname(self.slave)

    def driver(self, **options) -> SerialTextDriver:
        return SerialTextDriver(SerialTextDriver.Options.model_validate({
            "port": self.name, "timeout_s": 0.25, "separator": ",",
            "measures": {"house_current_a": 1, "house_voltage_v": {"channel": 2}}, **options}))

    def say(self, data: bytes) -> None:
        os.write(self.master, data)


@pytest.fixture
def port():
    made = Port()
    yield made
    os.close(made.master)
    os.close(made.slave)


def test_the_end_of_a_line_that_began_before_opening_is_not_taken_for_a_line(port: Port) -> None:
    """The tail of -12.345,12.65 would read as 345 A."""
    driver = port.driver()
    port.say(b"345,12.65\n")
    with pytest.raises(ReadFailed, match="silent"):
        driver.read()
    port.say(b"-12.345,12.65\n")
    assert driver.read().values == {"house_current_a": -12.345, "house_voltage_v": 12.65}
    driver.close()


def test_a_line_in_two_pieces_is_put_together(port: Port) -> None:
    driver = port.driver()
    port.say(b"\n-12.3")
    with pytest.raises(ReadFailed, match="a line began and did not end"):
        driver.read()
    port.say(b"45,12.65\r\n")
    assert driver.read().values["house_current_a"] == -12.345
    driver.close()


def test_of_several_lines_the_newest_counts(port: Port) -> None:
    driver = port.driver()
    port.say(b"\n1,12.1\n2,12.2\n3,12.3\n4,1")
    assert driver.read().values == {"house_current_a": 3.0, "house_voltage_v": 12.3}
    driver.close()


def test_after_an_overrun_what_waits_is_too_old_to_be_a_reading(port: Port) -> None:
    """The kernel keeps the oldest 4095 bytes and drops what follows."""
    driver = port.driver()
    port.say(b"\n")
    for _ in range(2000):
        try:
            port.say(b"1,12.1\n")
        except BlockingIOError:
            break
    time.sleep(0.05)  # until it has gone through
    with pytest.raises(ReadFailed):
        driver.read()
    port.say(b".3\n2,12.2\n")
    assert driver.read().values == {"house_current_a": 2.0, "house_voltage_v": 12.2}
    driver.close()


def test_bytes_that_trickle_without_end_do_not_hold_a_reading_up(port: Port) -> None:
    driver = port.driver()
    stop = threading.Event()

    def trickle() -> None:
        while not stop.wait(0.01):
            port.say(b"1")

    thread = threading.Thread(target=trickle)
    thread.start()
    started = time.monotonic()
    with pytest.raises(ReadFailed, match="did not end"):
        driver.read()
    took_s = time.monotonic() - started
    stop.set()
    thread.join()
    assert took_s < 0.5
    driver.close()


def test_an_instrument_that_wants_to_be_asked_is_asked(port: Port) -> None:
    driver = port.driver(send="?\n")

    def answer() -> None:
        end = time.monotonic() + 2
        while time.monotonic() < end:
            try:
                if os.read(port.master, 100) == b"?\n":
                    return port.say(b"5,12.5\n")
            except BlockingIOError:
                time.sleep(0.002)

    for _ in range(3):
        port.say(b"9,9\n")  # a late answer to an older question
        time.sleep(0.02)
        thread = threading.Thread(target=answer)
        thread.start()
        assert driver.read().values == {"house_current_a": 5.0, "house_voltage_v": 12.5}
        thread.join()
    driver.close()


@pytest.mark.parametrize(("name", "line"), [
    ("xor8", b"$-12.345,12.65*35"), ("sum8", b"-12.345,12.65*AC"), ("crc32", b"-12.345,12.65*CBF43926")])
def test_a_line_whose_checksum_does_not_fit_is_refused(port: Port, name: str, line: bytes) -> None:
    driver = port.driver(checksum=name)
    port.say(b"\n" + line + b"\n")
    with pytest.raises(ReadFailed, match="checksum"):
        driver.read()
    driver.close()


@pytest.mark.parametrize(("name", "line", "value"), [
    ("xor8", b"$1,2*2F", 1.0),                       # 31 ^ 2C ^ 32; the $ is not covered
    ("sum8", b"1,2*8F", 1.0),                        # 31 + 2C + 32
    ("crc32", b"123456789*CBF43926", 123456789.0),   # the published check value of CRC-32/ISO-HDLC (RevEng catalogue)
])
def test_checksums_are_those_that_the_trade_uses(port: Port, name: str, line: bytes, value: float) -> None:
    driver = port.driver(checksum=name, measures={"house_current_a": "1"})
    port.say(b"\n" + line + b"\n")
    assert driver.read().values == {"house_current_a": value}
    driver.close()


def test_a_pattern_takes_named_groups_and_refuses_other_lines(port: Port) -> None:
    options = {"separator": None, "pattern": r"V=(?P<volts>[\d.]+) I=(?P<amps>[-\d.]+)",
               "measures": {"house_voltage_v": "volts", "house_current_a": {"channel": "amps", "scale": -1}}}
    driver = port.driver(**options)
    port.say(b"\nV=12.6 I=3.5\r\n")
    assert driver.read().values == {"house_voltage_v": 12.6, "house_current_a": -3.5}
    port.say(b"V=12.6 I=3.5 X\r\n")
    with pytest.raises(ReadFailed, match="shape"):
        driver.read()
    driver.close()


def test_one_field_that_is_no_number_spoils_only_itself(port: Port) -> None:
    driver = port.driver()
    port.say(b"\nnan,12.65\n")
    reading = driver.read()
    assert reading.values == {"house_voltage_v": 12.65} and reading.faults[0].quantity == "house_current_a"
    driver.close()


@pytest.mark.parametrize(("change", "words"), [
    ({"pattern": "x"}, "one of the two"),
    ({"separator": None, "pattern": "(", "measures": {"house_voltage_v": "v"}}, "no regular expression"),
    ({"separator": None, "pattern": "(?P<u>.)", "measures": {"house_voltage_v": "v"}}, "it has: u"),
    ({"measures": {"house_voltage_v": "volts"}}, "number of the field"), ({"checksum": "xor9"}, "xor8")])
def test_wrong_descriptions_are_refused_before_the_port_is_opened(change: dict, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        SerialTextDriver.Options.model_validate({"port": "x", "separator": ",", "measures": {"house_voltage_v": "1"}, **change})


def test_a_port_that_is_not_there_says_so(tmp_path: Path) -> None:
    with pytest.raises(CannotOpen, match="by-id/none.*No such file"):
        SerialTextDriver(SerialTextDriver.Options.model_validate(
            {"port": str(tmp_path / "by-id/none"), "separator": ",", "measures": {"house_voltage_v": "1"}}))
