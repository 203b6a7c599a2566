"""What commissioning concludes from readings, its doubt, and that the charge filter counts with it."""
import csv
import dataclasses
import gzip
import math

import pytest

from monitor.battery.label import Battery, CurrentSensor, Vehicle
from monitor.commissioning import line_format, steps
from monitor.commissioning.identify_batteries import from_log, identify_batteries
from monitor.commissioning.steps import Found, Meter, NotClear, Shown
from monitor.estimation import charge
from monitor.estimation.charge_filter import CAPACITY, LEVEL
from monitor.findings import Estimate, JoinFindings
from tests.monitor.test_charge import AGM, DAY_MIN, STARTER, minute
from tests.reference import RECORDINGS

FLAT = Shown(-9.8, 0.002, -9.81, -9.79, 50)


def test_doubts_are_put_together_as_the_gum_says() -> None:
    """A limit a and a last digit d are rectangular: a / sqrt(3) and d / sqrt(12) (JCGM 100:2008, 4.3.7)."""
    assert steps.compare_reading("12.63").sigma(0.0) == pytest.approx(0.01 / math.sqrt(12))
    assert Meter(10.0, 0.0).sigma(0.015) == pytest.approx(0.15 / math.sqrt(3))


def test_gain_is_true_over_shown_after_the_zero_and_carries_both_doubts() -> None:
    found = steps.gain(Meter(-10.0, 0.01), FLAT, Found(0.2, 0.05))
    assert found.value == pytest.approx(1.0)
    assert found.sigma == pytest.approx(math.hypot(0.015 / math.sqrt(3), 0.05 / 10.0), rel=0.01)


def test_a_drop_is_told_in_ohms_whichever_way_it_goes() -> None:
    volts = Shown(12.40, 0.001, 12.39, 12.41, 50)
    assert steps.lead_ohm(Meter(12.50, 0.01), volts, FLAT).value == pytest.approx(0.1 / 9.8)
    with pytest.raises(NotClear, match="compare the voltage"):
        steps.lead_ohm(Meter(14.4, 0.1), volts, FLAT)


@pytest.mark.parametrize(("heard", "options", "channels"), [
    (["-3.21,12.65,x"] * 2, {"separator": ","}, [("1", -3.21), ("2", 12.65)]),
    (["$HB,12.65,-3.2*26"], {"separator": ",", "checksum": "xor8"}, [("2", 12.65), ("3", -3.2)]),
    (["V=12.65;I=-3.2", "V=12.60;I=4"], {"pattern": r"V=(?P<n1>[-+]?[0-9.]+);I=(?P<n2>[-+]?[0-9.]+)"}, [("n1", 12.6), ("n2", 4.0)]),
])
def test_the_shape_of_lines_is_found_out(heard: list[str], options: dict, channels: list) -> None:
    found = line_format.describe_line(heard)
    assert found.options == options and list(found.channels) == channels


def test_noise_is_no_line() -> None:
    assert line_format.describe_line(["\x00\xff\x12"]) is None and line_format.describe_line(["hello"]) is None
    assert line_format.describe_line(["a 1 b 2", "a 1", "c 3 d"]) is None


def _rows(name: str) -> list[tuple[float, float, float, float]]:
    """(second, volts of house and starter, amperes of the house) where both voltages are known."""
    with gzip.open(RECORDINGS / name / "readings.csv.gz", "rt") as file:
        return [(float(row["t_s"]), float(row["house_v"]), float(row["starter_v"]), float(row["house_a"] or "nan"))
                for row in csv.DictReader(file) if row["house_v"] and row["starter_v"]]


@pytest.mark.parametrize("name", ["agm-camp", "agm-aged", "lfp-camp", "isolator-stuck-closed", "isolator-stuck-open"])
def test_recorded_drives_tell_which_battery_is_which(name: str) -> None:
    """Readings 30 s apart show no start, but the load steps do: joined batteries and a worn one included."""
    right = _rows(name)
    assert not from_log(right).first_starts
    assert from_log([(t, s, h, -a) for t, h, s, a in right]).first_starts  # whichever way the current counts


def test_a_log_by_the_second_shows_the_starts_without_any_current() -> None:
    """The recorded starts (50 a second, thinned to one) beside a house battery that rests."""
    with gzip.open(sorted((RECORDINGS / "crank").glob("*0*.csv.gz"))[0], "rt") as file:
        volts = [float(row["starter_v"]) for row in csv.DictReader(file)][::25]
    rows = [(0.5 * k, 12.6, v, None) for k, v in enumerate(volts)]
    assert not from_log(rows).first_starts
    assert from_log([(t, s, h, a) for t, h, s, a in rows]).first_starts
    with pytest.raises(NotClear, match="neither"):
        from_log([(t, 12.6, 12.7, None) for t, _, _, _ in rows])


def test_a_start_is_seen_whatever_the_dividers_make_of_it() -> None:
    rows = [(0.1 * k, 2.52, 12.7) for k in range(30)] + [(3.0 + 0.1 * k, 1.9, 12.68) for k in range(8)]
    rows += [(3.8 + 0.1 * k, 2.82, 12.7) for k in range(40)]
    assert identify_batteries(rows).first_starts
    assert "fell by 25 %" in identify_batteries(rows).seen


def test_no_start_is_not_clear_and_contradictions_are_told() -> None:
    with pytest.raises(NotClear, match="no start"):
        identify_batteries([(0.1 * k, 12.6, 12.7) for k in range(300)])
    both = [(0.1 * k, 12.6, 12.7) for k in range(30)] + [(3.0 + 0.1 * k, 9.6, 12.7) for k in range(8)]
    both += [(3.8 + 0.1 * k, 12.6, 14.2) for k in range(40)]
    with pytest.raises(NotClear, match="contradict"):
        identify_batteries(both)


def _width(vehicle: Vehicle, days: float) -> tuple[float, float]:
    """How far the intervals of charge [fraction] and capacity [Ah] reach above the figure after a full charge and some days
    of use at a voltage that fits; below it lost plates are allowed for, whatever the instruments."""
    held = charge.begin(vehicle)
    for k in range(240):
        held = charge.update(held, minute(k, 0.4, 14.4), vehicle, JoinFindings())
    for k in range(240, 240 + int(days * DAY_MIN)):
        held = charge.update(held, minute(k, -0.9, 12.9 - 0.01 * (k - 240) / 60), vehicle, JoinFindings())
    found = charge.findings(held, vehicle)
    assert isinstance(found.charge_frac, Estimate) and isinstance(found.capacity_ah, Estimate)
    return found.charge_frac.high - found.charge_frac.value, found.capacity_ah.high - found.capacity_ah.value


def test_the_doubt_of_zero_and_gain_widens_what_is_counted() -> None:
    sure = dataclasses.replace(AGM, current_sensor=CurrentSensor(0.0, 0.005, 1.0, 0.003))
    loose = dataclasses.replace(AGM, current_sensor=CurrentSensor(0.0, 0.3, 1.0, 0.003))
    poor = dataclasses.replace(AGM, current_sensor=CurrentSensor(0.0, 0.005, 1.0, 0.06))
    widths = {name: _width(vehicle, 1.0) for name, vehicle in (("sure", sure), ("loose", loose), ("poor", poor))}
    assert widths["loose"][0] > 1.3 * widths["sure"][0]
    assert widths["poor"][0] > 1.01 * widths["sure"][0]
    assert widths["poor"][1] > 1.05 * widths["sure"][1]


def test_a_gain_and_a_voltmeter_in_doubt_widen_what_is_believed_at_the_start() -> None:
    usual = charge.begin(AGM).belief
    doubtful = dataclasses.replace(AGM, current_sensor=CurrentSensor(gain_sigma_frac=0.1),
                                   house=dataclasses.replace(AGM.house, voltage_sigma_frac=0.01))
    wide = charge.begin(doubtful).belief
    assert wide.sigma(CAPACITY) == pytest.approx(math.sqrt(usual.sigma(CAPACITY) ** 2 + 0.1**2 - 0.006**2))
    assert wide.sigma(LEVEL) == pytest.approx(math.hypot(usual.sigma(LEVEL), 0.127))


def test_a_vehicle_nobody_commissioned_is_believed_as_before() -> None:
    assert Vehicle(Battery("house", "agm", 100.0), STARTER).house.voltage_sigma_frac is None
