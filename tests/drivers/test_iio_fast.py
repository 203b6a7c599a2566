"""Engine starts from a converter's buffer, and how the kernel lays scans out."""
from pathlib import Path

import pytest

from drivers.errors import CannotOpen, ReadFailed
from drivers.iio_fast import IioFastDriver, layout
from drivers.start_trace import StartTrace
from tests.drivers.buffered import BufferedFolder


class Quiet(BufferedFolder):
    """Says only what a test puts in."""

    def say(self) -> None: ...


@pytest.fixture
def converter(tmp_path: Path):
    made = Quiet(tmp_path)
    yield made
    made.close()


START = [12.7] * 200 + [8.0] * 5 + [10.0] * 45 + [13.9] * 300
"""4 s of rest, 1 s of cranking, 6 s of charging, 50 a second."""


def test_a_start_is_handed_over_once_when_it_is_over(converter: Quiet) -> None:
    driver = IioFastDriver(converter.options)
    traces = []
    for k in range(0, len(START), 50):
        converter.put(START[k:k + 50])
        reading = driver.read()
        assert reading.values["starter_voltage_v"] == pytest.approx(START[k + 49], abs=0.008)
        traces.append(reading.fast_starter)
    driver.close()
    trace, = [t for t in traces if t]
    assert traces.index(trace) >= 9  # not before it was over
    times, volts = zip(*trace)
    assert {round(b - a, 6) for a, b in zip(times, times[1:])} == {0.02}
    assert volts.index(min(volts)) * 0.02 == pytest.approx(1.5)           # what was before it belongs to it
    assert min(volts) == pytest.approx(8.0, abs=0.008) and times[-1] - times[0] == pytest.approx(1.5 + 0.98 + 5.0, abs=0.05)


def test_the_converter_is_set_up_and_left_switched_off(converter: Quiet) -> None:
    driver = IioFastDriver(converter.options)
    held = {name: (converter.place / name).read_text().strip() for name in (
        "scan_elements/in_voltage0_en", "scan_elements/in_timestamp_en", "trigger/current_trigger", "buffer/enable", "buffer/length")}
    assert held == {"scan_elements/in_voltage0_en": "1", "scan_elements/in_timestamp_en": "0",
                    "trigger/current_trigger": "ticks", "buffer/enable": "1", "buffer/length": "400"}
    assert (converter.sys / "trigger0/sampling_frequency").read_text() == "50"
    driver.close()
    assert (converter.place / "buffer/enable").read_text() == "0"


def _traces(volts: list[float], frequency_hz: float = 50.0) -> list[tuple]:
    starts = StartTrace(frequency_hz)
    return [trace for v in volts if (trace := starts.add(v))]


@pytest.mark.parametrize(("volts", "why"), [
    ([12.7] * 200 + [12.3] * 400, "a lamp"), ([12.7] * 200 + [11.9] * 3000, "joined batteries: it stays down"),
    ([12.7] * 20 + [8.0] * 50 + [13.9] * 400, "nothing was seen before it"),
    ([13.9 - k * 0.001 for k in range(2000)], "a slow fall after the engine stops")])
def test_other_dips_are_no_start(volts: list[float], why: str) -> None:
    assert _traces(volts) == []


def test_two_starts_are_two_traces() -> None:
    assert len(_traces(START + [12.9] * 500 + START)) == 2


def test_a_second_try_right_after_a_failed_one_belongs_to_it() -> None:
    trace, = _traces([12.6] * 100 + [9.0] * 100 + [12.2] * 100 + [9.0] * 50 + [13.8] * 300)
    assert len([v for _, v in trace if v == 9.0]) == 150


@pytest.mark.parametrize(("elements", "scan", "value"), [
    ({"in_voltage0": (0, "be:s12/16>>4")}, "FF E0", -2),
    ({"in_voltage0": (0, "le:u12/16")}, "FE FF", 0xFFE),           # the bits above are not ours
    ({"in_voltage0": (0, "le:s24/32>>8")}, "00 FE FF FF", -2),
    ({"in_voltage1": (0, "be:u8/8"), "in_voltage0": (1, "be:u16/16")}, "11 00 12 34", 0x1234),   # aligned to its own size
    ({"in_voltage0": (0, "be:u16/16"), "in_timestamp": (5, "le:s64/64")}, "12 34" + " 00" * 14, 0x1234),
])
def test_scans_are_laid_out_as_the_kernel_says(tmp_path: Path, elements: dict, scan: str, value: int) -> None:
    """Kernel ABI sysfs-bus-iio, scan_elements; each channel aligned to its own size, the whole to the largest."""
    for name, (index, kind) in elements.items():
        for end, content in (("en", "1"), ("index", str(index)), ("type", kind)):
            (tmp_path / f"{name}_{end}").write_text(content + "\n")
    found = layout(tmp_path, "in_voltage0")
    data = bytes.fromhex(scan)
    assert found.size == len(data) and found.raw(data) == value


def test_a_channel_that_cannot_be_buffered_says_which_can(converter: Quiet) -> None:
    with pytest.raises(CannotOpen, match="no channel in_voltage7 can be buffered; there is: in_timestamp, in_voltage0"):
        IioFastDriver(IioFastDriver.Options.model_validate({
            **converter.options.model_dump(), "measures": {"starter_voltage_v": "in_voltage7"}}))


def test_a_trigger_that_is_not_there_says_so(converter: Quiet) -> None:
    with pytest.raises(CannotOpen, match="name the trigger"):
        IioFastDriver(converter.options.model_copy(update={"trigger": "tocks"}))


def test_after_the_buffer_overran_the_stretch_before_is_forgotten(converter: Quiet) -> None:
    driver = IioFastDriver(converter.options)
    converter.put([12.7] * 399)
    driver.read()
    converter.put([8.0] * 400)   # the rest of it was lost: no start can be cut out of this
    converter.put([13.9] * 300)
    reading = driver.read()
    assert reading.fast_starter == ()
    driver.close()


def test_a_device_file_that_vanishes_is_a_failed_reading(converter: Quiet) -> None:
    driver = IioFastDriver(converter.options)
    converter.leave()
    with pytest.raises(ReadFailed):
        driver.read()
    driver.close()
