"""What is found on a board: folders shaped like the kernel's, ports by their stable names."""
import os
from pathlib import Path

import pytest

from drivers import driver_class
from drivers.errors import CannotOpen
from drivers.i2c import addresses
from drivers.scan import Found, SeenChannel, scan
from tests.drivers.counterparts import HwmonFolder, IioFolder, W1Folder
from tests.drivers.stand_ins import I2cBus, I2cChip


@pytest.fixture
def board(tmp_path: Path) -> Path:
    HwmonFolder(tmp_path / "sys/class/hwmon")
    IioFolder(tmp_path / "sys/bus/iio/devices")
    W1Folder(tmp_path / "sys/bus/w1/devices")
    (tmp_path / "sys/bus/w1/devices/w1_bus_master1").mkdir()
    for name, kind in (("can0", "280"), ("eth0", "1")):
        (tmp_path / "sys/class/net" / name).mkdir(parents=True)
        (tmp_path / "sys/class/net" / name / "type").write_text(kind + "\n")
    (tmp_path / "dev/serial/by-id").mkdir(parents=True)
    master, slave = os.openpty()
    (tmp_path / "dev/serial/by-id/usb-maker_adapter_1234-if00-port0").symlink_to(os.ttyname(slave))
    (tmp_path / "dev/gpiochip0").touch()
    yield tmp_path
    os.close(master)
    os.close(slave)


def _scan(board: Path) -> dict[str, Found]:
    return {found.driver: found for found in scan(board / "sys", board / "dev")}


def test_everything_on_a_board_is_found_with_the_options_that_name_it(board: Path) -> None:
    assert {driver: found.options for driver, found in _scan(board).items()} == {
        "hwmon": {"chip": "ina226"}, "iio": {"device": "ads1015"}, "w1": {"sensor": "28-0316a2794a8b"},
        "serial": {"port": str(board / "dev/serial/by-id/usb-maker_adapter_1234-if00-port0")},
        "can_rvc": {"channel": "can0"}, "gpio": {"chip": str(board / "dev/gpiochip0")}}


def test_channels_show_what_they_measure_now(board: Path) -> None:
    (board / "sys/class/hwmon/hwmon0/in1_label").write_text("bus\n")
    (board / "sys/class/hwmon/hwmon0/in10_input").write_text("\n")
    (board / "sys/class/hwmon/hwmon0/in2_input").write_text("5000\n")
    (board / "sys/class/hwmon/hwmon0/power1_input").write_text("5000\n")  # none of our quantities
    channels = _scan(board)["hwmon"].channels
    assert [(c.channel, c.unit, c.value, c.label) for c in channels] == [
        ("curr1", "A", -12.345, ""), ("in1", "V", 12.65, "bus"), ("in2", "V", 5.0, ""), ("in10", "V", None, ""),
        ("temp1", "°C", 23.5, "")]
    assert "empty" in channels[3].trouble
    assert _scan(board)["iio"].channels == (SeenChannel("in_temp", "°C", 37.0), SeenChannel("in_voltage0", "V", 2.54))


def test_twins_are_named_by_their_label(board: Path) -> None:
    root = board / "sys/class/hwmon"
    (root / "hwmon1").mkdir()
    for name, content in (("name", "ina226"), ("label", "house shunt"), ("in1_input", "12000")):
        (root / "hwmon1" / name).write_text(content + "\n")
    chips = [found.options["chip"] for found in scan(board / "sys", board / "dev") if found.driver == "hwmon"]
    assert chips == ["hwmon0", "house shunt"]


def test_what_was_found_can_be_opened_and_read(board: Path) -> None:
    found = _scan(board)["hwmon"]
    cls = driver_class(found.driver)
    driver = cls(cls.Options.model_validate({
        **found.options, "measures": {"house_voltage_v": "in1"}, "root": board / "sys/class/hwmon"}))
    assert driver.read().values == {"house_voltage_v": 12.65}


def test_an_empty_board_has_nothing(tmp_path: Path) -> None:
    assert scan(tmp_path, tmp_path) == []


def test_this_machine_can_be_scanned() -> None:
    assert all(found.title for found in scan())


def test_an_i2c_bus_is_asked_only_on_request() -> None:
    assert addresses(1, opener=lambda bus: I2cBus(I2cChip())) == {0x23: "free", 0x48: "taken by the kernel"}
    with pytest.raises(CannotOpen, match="/dev/i2c-250"):
        addresses(250)
