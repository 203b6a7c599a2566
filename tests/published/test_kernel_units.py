"""Units of the kernel's files, each as its own document says; four systems of units in one kernel.

Linux kernel documentation: hwmon/sysfs-interface; ABI/testing/sysfs-bus-iio; w1/slaves/w1_therm.
"""
from pathlib import Path

import pytest

from drivers.errors import ReadFailed
from drivers.hwmon import HwmonDriver, HwmonOptions
from drivers.iio import IioDriver, IioOptions
from drivers.w1 import W1Driver, W1Options


def _files(folder: Path, **files: str) -> Path:
    folder.mkdir(parents=True)
    for name, text in files.items():
        (folder / name).write_text(text + "\n")
    return folder.parent


#: file, text, channel, quantity -> value: in*_input is mV at the chip's pin, curr*_input mA, temp*_input thousandths of °C
HWMON = [
    ("in1_input", "12650", "in1", "house_voltage_v", 12.650),
    ("in0_input", "0", "in0", "house_voltage_v", 0.0),
    ("curr1_input", "-4250", "curr1", "house_current_a", -4.250),
    ("temp1_input", "-5500", "temp1", "house_temperature_c", -5.5),
]


@pytest.mark.parametrize(("file", "text", "channel", "quantity", "value"), HWMON)
def test_hwmon(tmp_path: Path, file: str, text: str, channel: str, quantity: str, value: float) -> None:
    root = _files(tmp_path / "hwmon0", name="chip", **{file: text})
    driver = HwmonDriver(HwmonOptions(chip="chip", root=root, measures={quantity: channel}))
    assert driver.read().values == {quantity: pytest.approx(value)}


def test_hwmon_a_dividers_ratio_is_the_applications_job(tmp_path: Path) -> None:
    """hwmon/sysfs-interface: voltage is at the chip's pin, scaling by external resistors is left to user space."""
    root = _files(tmp_path / "hwmon0", name="chip", in1_input="2530")
    driver = HwmonDriver(HwmonOptions(chip="chip", root=root, measures={"starter_voltage_v": {"channel": "in1", "ratio": 5.0}}))
    assert driver.read().values["starter_voltage_v"] == pytest.approx(12.65)


@pytest.mark.parametrize("text", ["", "garbage", "12.5.0"])
def test_hwmon_an_empty_or_broken_file_is_no_reading(tmp_path: Path, text: str) -> None:
    root = _files(tmp_path / "hwmon0", name="chip", in1_input=text)
    with pytest.raises(ReadFailed):
        HwmonDriver(HwmonOptions(chip="chip", root=root, measures={"house_voltage_v": "in1"})).read()


#: files, channel, quantity -> value: (raw + offset) x scale in mV, mA, thousandths of °C; *_input is scaled already
IIO = [
    ({"in_temp_raw": "12", "in_temp_offset": "25", "in_temp_scale": "1000"}, "in_temp", "house_temperature_c", 37.0),
    ({"in_voltage0_raw": "4000", "in_voltage0_scale": "3.1625"}, "in_voltage0", "house_voltage_v", 12.65),
    ({"in_voltage0_raw": "4000", "in_voltage_scale": "3.1625"}, "in_voltage0", "house_voltage_v", 12.65),
    ({"in_current0_raw": "-850", "in_current0_scale": "5"}, "in_current0", "house_current_a", -4.25),
    ({"in_temp_input": "21500"}, "in_temp", "house_temperature_c", 21.5),
]


@pytest.mark.parametrize(("files", "channel", "quantity", "value"), IIO)
def test_iio_offset_is_added_before_scale(tmp_path: Path, files: dict[str, str], channel: str, quantity: str, value: float) -> None:
    root = _files(tmp_path / "iio:device0", name="adc", **files)
    driver = IioDriver(IioOptions(device="adc", root=root, measures={quantity: channel}))
    assert driver.read().values == {quantity: pytest.approx(value)}


GOOD = "4b 01 4b 46 7f ff 0c 10 a0 : crc=a0 YES\n4b 01 4b 46 7f ff 0c 10 a0 t=20687"


#: w1_slave: the first line ends in YES or NO for the checksum; the value stays when it fails
@pytest.mark.parametrize(("text", "value"), [
    (GOOD, 20.687), (GOOD.replace("t=20687", "t=-1250"), -1.25), (GOOD.replace("YES", "NO"), None),
    (GOOD.replace("t=20687", "t=85000"), None), (GOOD.replace("t=20687", "t=127937"), None)])
def test_w1_a_failed_checksum_still_shows_the_last_good_value_and_is_refused(tmp_path: Path, text: str, value: float | None) -> None:
    """85.00 °C is the value after power-on, 127.94 °C insufficient power: neither is a temperature."""
    root = _files(tmp_path / "28-0316a2794a8b", w1_slave=text)
    driver = W1Driver(W1Options(sensor="28-0316a2794a8b", root=root, measures="house_temperature_c"))
    if value is None:
        with pytest.raises(ReadFailed):
            driver.read()
    else:
        assert driver.read().values == {"house_temperature_c": pytest.approx(value)}
