"""Register maps against pymodbus's own server: types, word orders, what devices refuse, SunSpec's battery model."""
import threading
import time
from pathlib import Path

import pytest
from pydantic import ValidationError

from drivers.errors import CannotOpen, ReadFailed
from drivers.modbus import ModbusDriver
from drivers.sunspec import SunspecDriver
from tests.drivers.links import Server, SunspecServer


class Holding(Server):
    """A server whose registers hold what a test says."""

    first, count = 0, 40
    held: dict[int, int] = {}

    def words(self) -> dict[int, int]:
        return self.held


@pytest.fixture
def server(tmp_path: Path):
    made = Holding(tmp_path)
    yield made
    made.close()


def _driver(server: Server, measures: dict, **options) -> ModbusDriver:
    return ModbusDriver(ModbusDriver.Options.model_validate(
        {"host": "127.0.0.1", "tcp_port": server.port, "timeout_s": 0.5, "measures": measures, **options}))


@pytest.mark.parametrize(("words", "register", "value"), [
    ([0x8001], {"type": "INT16"}, -32767.0), ([0x8001], {"type": "UINT16"}, 32769.0),
    ([0xFFFF, 0xFFFE], {"type": "INT32"}, -2.0), ([0xFFFE, 0xFFFF], {"type": "INT32", "word_order": "little"}, -2.0),
    ([0x0001, 0x0000], {"type": "UINT32"}, 65536.0),
    ([0x4148, 0x0000], {"type": "FLOAT32"}, 12.5),                           # IEEE 754: 0x41480000 is 12.5
    ([0x0000, 0x4148], {"type": "FLOAT32", "word_order": "little"}, 12.5),
    ([0x4029, 0x0000, 0x0000, 0x0000], {"type": "FLOAT64"}, 12.5),           # IEEE 754: 0x4029000000000000 is 12.5
    ([1265], {"type": "UINT16", "scale": 0.01}, 12.65), ([1265], {"scale": -0.01, "offset": 0.05}, -12.6),
])
def test_words_become_numbers_as_described(server: Server, words: list[int], register: dict, value: float) -> None:
    server.held = dict(enumerate(words, 7))
    driver = _driver(server, {"house_current_a": {"address": 7, **register}})
    assert driver.read().values == {"house_current_a": pytest.approx(value)}
    driver.close()


@pytest.mark.parametrize(("words", "register"), [
    ([0x8000], {"type": "INT16"}), ([0xFFFF], {"type": "UINT16"}), ([0x8000, 0], {"type": "INT32"}),
    ([0xFFFF, 0xFFFF], {"type": "UINT32"}), ([0x7FC0, 0], {"type": "FLOAT32"}), ([0x7F80, 0], {"type": "FLOAT32"}),
    ([999], {"type": "UINT16", "invalid": [999]})])
def test_numbers_that_mean_not_available_are_no_measurement(server: Server, words: list[int], register: dict) -> None:
    server.held = {**dict(enumerate(words, 7)), 20: 1265}
    driver = _driver(server, {"house_current_a": {"address": 7, **register}, "house_voltage_v": {"address": 20, "scale": 0.01}})
    reading = driver.read()
    assert reading.values == {"house_voltage_v": pytest.approx(12.65)}
    assert "not available" in reading.faults[0].reason
    driver.close()


def test_a_scale_register_that_holds_no_scale_is_a_fault(server: Server) -> None:
    server.held = {7: 1265, 8: 0x8000}
    driver = _driver(server, {"house_voltage_v": {"address": 7, "scale_address": 8}})
    with pytest.raises(ReadFailed, match="no scale factor"):
        driver.read()
    driver.close()


def test_a_register_that_the_device_lacks_is_its_exception_in_words(server: Server) -> None:
    driver = _driver(server, {"house_voltage_v": 900})
    with pytest.raises(ReadFailed, match="register 900: the device answered with exception 2"):
        driver.read()
    driver.close()


def test_several_late_messages_together_keep_to_the_time_of_one_reading(server: Server) -> None:
    server.held = dict.fromkeys(range(40), 1)
    driver = _driver(server, {"house_voltage_v": 1, "house_current_a": 10, "starter_voltage_v": 20, "ambient_temperature_c": 30})
    driver.read()
    server.how = "late"  # 0.6 s for each answer
    started = time.monotonic()
    with pytest.raises(ReadFailed):
        driver.read()
    assert time.monotonic() - started < 0.8
    server.mend()
    driver.close()


def test_nobody_at_the_address_says_so() -> None:
    with pytest.raises(CannotOpen, match="127.0.0.1:9: no connection"):
        ModbusDriver(ModbusDriver.Options.model_validate({"host": "127.0.0.1", "tcp_port": 9, "measures": {"house_voltage_v": 1}}))


@pytest.mark.parametrize("place", [{}, {"host": "a", "port": "b"}])
def test_a_device_is_on_the_network_or_on_a_serial_line(place: dict) -> None:
    with pytest.raises(ValidationError, match="one of the two"):
        ModbusDriver.Options.model_validate({**place, "measures": {"house_voltage_v": 1}})


@pytest.fixture
def battery(tmp_path: Path):
    made = SunspecServer(tmp_path)
    yield made
    made.close()


def _change(battery: SunspecServer, **places: int) -> None:
    plain = battery.words
    battery.words = lambda: {**plain(), **{int(k[1:]): v for k, v in places.items()}}


def test_a_sunspec_point_that_is_not_implemented_is_a_fault(battery: SunspecServer) -> None:
    """SunSpec: 0xFFFF in a uint16 is "not implemented"."""
    driver = SunspecDriver(battery.options)
    _change(battery, **{f"r{battery.BATTERY + 34}": 0xFFFF})
    reading = driver.read()
    assert set(reading.values) == {"house_current_a"} and "point V is not available" in reading.faults[0].reason
    driver.close()


def test_a_sunspec_map_that_has_moved_is_noticed(battery: SunspecServer) -> None:
    driver = SunspecDriver(battery.options)
    _change(battery, **{f"r{battery.BATTERY}": 803})
    with pytest.raises(ReadFailed, match="model 803, no longer 802"):
        driver.read()
    driver.close()


def test_a_device_without_a_battery_model_says_which_it_has(battery: SunspecServer) -> None:
    _change(battery, **{f"r{battery.BATTERY}": 124})
    with pytest.raises(CannotOpen, match="no SunSpec battery model 802; it has 1, 124"):
        SunspecDriver(battery.options)


def test_a_device_without_a_sunspec_map_says_so(server: Server) -> None:
    with pytest.raises(CannotOpen, match="no SunSpec map begins at 40000 or 50000 or 0"):
        SunspecDriver(SunspecDriver.Options.model_validate(
            {"host": "127.0.0.1", "tcp_port": server.port, "measures": {"house_voltage_v": "V"}}))


def test_a_sunspec_voltage_cannot_come_from_a_current() -> None:
    with pytest.raises(ValidationError, match="cannot come from point A"):
        SunspecDriver.Options.model_validate({"host": "a", "measures": {"house_voltage_v": "A"}})


def test_no_thread_of_a_driver_is_left_behind(server: Server) -> None:
    before = threading.active_count()
    driver = _driver(server, {"house_voltage_v": 1})
    driver.read()
    driver.close()
    assert threading.active_count() == before
