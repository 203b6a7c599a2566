"""Kernel files: the error cases that the kernel's own documents name."""
import time
from pathlib import Path

import pytest
from pydantic import ValidationError

from drivers.errors import CannotOpen, ReadFailed
from drivers.hwmon import HwmonDriver, HwmonOptions
from drivers.iio import IioDriver, IioOptions
from drivers.w1 import W1Driver, W1Options
from tests.drivers.counterparts import HwmonFolder, IioFolder, W1Folder


def _hwmon(root: Path) -> HwmonDriver:
    return HwmonDriver(HwmonOptions.model_validate({
        "chip": "ina226", "root": root, "measures": {"house_voltage_v": "in1", "house_current_a": "curr1"}}))


def test_a_channel_that_is_off_spoils_only_its_own_quantity(tmp_path: Path) -> None:
    folder = HwmonFolder(tmp_path)
    (folder.place / "curr1_input").unlink()
    reading = _hwmon(tmp_path).read()
    assert reading.values == {"house_voltage_v": pytest.approx(12.65)}
    assert [f.quantity for f in reading.faults] == ["house_current_a"] and "curr1_input" in reading.faults[0].reason


def test_a_file_that_answers_with_an_error_is_a_fault_with_its_name(tmp_path: Path) -> None:
    """A disabled channel answers ENODATA; a directory in its place gives a real read error just as well."""
    folder = HwmonFolder(tmp_path)
    (folder.place / "in1_input").unlink()
    (folder.place / "in1_input").mkdir()
    assert "in1_input" in _hwmon(tmp_path).read().faults[0].reason


def test_nothing_readable_at_all_is_a_failed_reading(tmp_path: Path) -> None:
    folder = HwmonFolder(tmp_path)
    driver = _hwmon(tmp_path)
    for name in ("in1_input", "curr1_input"):
        (folder.place / name).write_text("")
    with pytest.raises(ReadFailed, match="empty"):
        driver.read()


def test_an_unknown_chip_names_those_that_are_there(tmp_path: Path) -> None:
    HwmonFolder(tmp_path)
    with pytest.raises(CannotOpen, match="no chip called 'ina999'.*ina226"):
        HwmonDriver(HwmonOptions.model_validate({"chip": "ina999", "root": tmp_path, "measures": {"house_voltage_v": "in1"}}))


def test_two_chips_of_one_name_must_be_told_apart_by_label(tmp_path: Path) -> None:
    for number, label in ((0, "house shunt"), (1, "other")):
        place = tmp_path / f"hwmon{number}"
        place.mkdir()
        (place / "name").write_text("ina226\n")
        (place / "label").write_text(label + "\n")
        (place / "in1_input").write_text("12000\n")
    options = {"root": tmp_path, "measures": {"house_voltage_v": "in1"}}
    with pytest.raises(CannotOpen, match="2 chips"):
        HwmonDriver(HwmonOptions.model_validate({"chip": "ina226", **options}))
    assert HwmonDriver(HwmonOptions.model_validate({"chip": "house shunt", **options})).read().values == {"house_voltage_v": 12.0}


def test_another_chip_under_the_old_number_is_never_read_instead(tmp_path: Path) -> None:
    """The chip was unplugged; by the next reading its number belongs to the processor's temperature sensor."""
    folder, driver = HwmonFolder(tmp_path), _hwmon(tmp_path)
    driver.read()
    folder.place.rename(tmp_path / "gone")
    place = tmp_path / "hwmon0"
    place.mkdir()
    (place / "name").write_text("cpu_thermal\n")
    (place / "in1_input").write_text("1100\n")
    with pytest.raises(ReadFailed, match="no chip called 'ina226'.*cpu_thermal"):
        driver.read()
    (tmp_path / "gone").rename(tmp_path / "hwmon1")
    assert driver.read().values["house_voltage_v"] == 12.65


def test_two_chips_of_one_name_may_be_told_apart_by_their_place(tmp_path: Path) -> None:
    """As in sysfs: a class folder of links, a device link that leads to bus and address."""
    for number, address, milli in ((0, "0040", 12600), (1, "0041", 12800)):
        place = tmp_path / "devices" / f"1-{address}" / "hwmon" / f"hwmon{number}"
        place.mkdir(parents=True)
        (place / "name").write_text("ina226\n")
        (place / "in1_input").write_text(f"{milli}\n")
        (place / "device").symlink_to("../..")
        (tmp_path / "class").mkdir(exist_ok=True)
        (tmp_path / "class" / f"hwmon{number}").symlink_to(place)
    root = tmp_path / "class"
    options = {"root": root, "measures": {"house_voltage_v": "in1"}}
    assert HwmonDriver(HwmonOptions.model_validate({"chip": "1-0041", **options})).read().values == {"house_voltage_v": 12.8}
    with pytest.raises(CannotOpen, match="2 chips.*of: 1-0040, 1-0041"):
        HwmonDriver(HwmonOptions.model_validate({"chip": "ina226", **options}))


def test_a_beat_of_a_two_battery_build_costs_little(tmp_path: Path) -> None:
    """Two shunt-monitor channels, a converter and a 1-wire sensor: at most 2 ms of processor a beat."""
    HwmonFolder(tmp_path / "hwmon"), IioFolder(tmp_path / "iio"), W1Folder(tmp_path / "w1")
    drivers = [
        _hwmon(tmp_path / "hwmon"), _w1(tmp_path / "w1"),
        IioDriver(IioOptions.model_validate({"device": "ads1015", "root": tmp_path / "iio", "measures": {
            "starter_voltage_v": {"channel": "in_voltage0", "ratio": 5}}}))]
    for driver in drivers:
        driver.read()
    costs = []
    for _ in range(200):
        started = time.process_time()
        for driver in drivers:
            driver.read()
        costs.append(time.process_time() - started)
    assert sorted(costs)[100] < 0.002


@pytest.mark.parametrize(("measures", "words"), [
    ({"house_voltage_v": "curr1"}, "cannot come from"), ({"house_voltage_v": "volts"}, "write in1"),
    ({"house_volts": "in1"}, "house_voltage_v"), ({}, "at least 1"),
    ({"house_voltage_v": {"channel": "in1", "ratoi": 5}}, "ratoi")])
def test_wrong_options_are_refused_before_anything_is_opened(measures: dict, words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        HwmonOptions.model_validate({"chip": "x", "measures": measures})


def test_a_shunt_that_counts_the_other_way_is_turned_round_by_its_scale(tmp_path: Path) -> None:
    HwmonFolder(tmp_path)
    driver = HwmonDriver(HwmonOptions.model_validate({
        "chip": "ina226", "root": tmp_path, "measures": {"house_current_a": {"channel": "curr1", "scale": -1}}}))
    assert driver.read().values == {"house_current_a": pytest.approx(12.345)}


def test_iio_adds_the_offset_before_it_scales(tmp_path: Path) -> None:
    """Kernel ABI sysfs-bus-iio: raw 12, offset 25, scale 1000 is 37000 thousandths of a degree, never 12025."""
    folder = IioFolder(tmp_path)
    (folder.place / "in_temp_raw").write_text("12\n")
    driver = IioDriver(IioOptions.model_validate({"device": "ads1015", "root": tmp_path, "measures": {"house_temperature_c": "in_temp"}}))
    assert driver.read().values == {"house_temperature_c": 37.0}


def test_iio_takes_a_value_that_is_already_scaled(tmp_path: Path) -> None:
    folder = IioFolder(tmp_path)
    (folder.place / "in_temp_input").write_text("21500\n")
    driver = IioDriver(IioOptions.model_validate({"device": "ads1015", "root": tmp_path, "measures": {"house_temperature_c": "in_temp"}}))
    assert driver.read().values == {"house_temperature_c": 21.5}


def test_iio_prefers_a_channels_own_scale(tmp_path: Path) -> None:
    folder = IioFolder(tmp_path)
    (folder.place / "in_voltage0_scale").write_text("1.0\n")
    driver = IioDriver(IioOptions.model_validate({"device": "ads1015", "root": tmp_path, "measures": {"starter_voltage_v": "in_voltage0"}}))
    assert driver.read().values == {"starter_voltage_v": pytest.approx(1.27)}


def _w1(root: Path) -> W1Driver:
    return W1Driver(W1Options(sensor="28-0316a2794a8b", measures="house_temperature_c", root=root))


def _shows(folder: W1Folder, milli: int) -> None:
    folder.show({"house_temperature_c": milli / 1000})


def test_the_power_on_value_out_of_nowhere_is_refused_and_a_true_one_taken(tmp_path: Path) -> None:
    """Kernel w1_therm: 85.00 °C is the value after power-on."""
    folder, driver = W1Folder(tmp_path), _w1(tmp_path)
    driver.read()
    _shows(folder, 85000)
    with pytest.raises(ReadFailed, match="power-on"):
        driver.read()
    for milli in (60000, 70000, 78000, 84000, 85000):
        _shows(folder, milli)
        assert driver.read().values["house_temperature_c"] == milli / 1000


def test_the_weak_supply_value_is_refused(tmp_path: Path) -> None:
    """Kernel w1_therm: 127.94 °C is insufficient power."""
    folder, driver = W1Folder(tmp_path), _w1(tmp_path)
    _shows(folder, 127940)
    with pytest.raises(ReadFailed, match="supply"):
        driver.read()


def test_a_missing_sensor_names_those_that_are_there(tmp_path: Path) -> None:
    W1Folder(tmp_path)
    with pytest.raises(CannotOpen, match="28-0316a2794a8b"):
        W1Driver(W1Options(sensor="28-000000000000", measures="house_temperature_c", root=tmp_path))
