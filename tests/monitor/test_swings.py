"""Capacity by swings: lead-acid between two quiet hours, lithium between full and its knee."""
import pytest

from monitor.battery import lead_acid
from monitor.battery.label import Battery, Vehicle
from monitor.findings import ChargeFindings, Estimate, NotYet
from monitor.sample import Minute
from monitor.wear import swings

NOT = NotYet("not looked at here")
KIND = lead_acid.KINDS["agm"]


def _vehicle(chemistry: str = "agm", label_ah: float = 100.0) -> Vehicle:
    return Vehicle(Battery("house", chemistry, label_ah), Battery("starter", "agm", 60.0))


def _found(anchor: str, age_s: float | None, charge_frac: float) -> ChargeFindings:
    level = Estimate(charge_frac, charge_frac - 0.02, charge_frac + 0.02, "counting")
    offset = Estimate(0.0, -0.01, 0.01, "learnt")
    return ChargeFindings(level, NOT, NOT, NOT, NOT, offset, anchor, age_s)


def _lived(vehicle: Vehicle, true_ah: float, hours: float, load_a: float, acid_ah: float | None = None) -> swings.SwingsState:
    """A battery of true_ah from full through a steady load, its voltage that of acid for acid_ah."""
    held, drawn, acid_ah = swings.begin(), 0.0, acid_ah or true_ah
    held = swings.update(held, _minute(0.0, 14.4, 0.3), vehicle, _found("full", 0.0, 1.0))
    for k in range(1, int(hours * 60)):
        drawn += load_a / 60.0
        volts = KIND.full_v - KIND.span_v * lead_acid.fall_frac(drawn / acid_ah) - 1.8 * 0.008 * load_a
        held = swings.update(held, _minute(60.0 * k, volts, -load_a), vehicle, _found("full", 60.0 * k, 1 - drawn / true_ah))
    return held


def _minute(start_s: float, volts: float, amps: float, gap_s: float = 0.0) -> Minute:
    in_ah, out_ah = max(amps, 0.0) / 60.0, max(-amps, 0.0) / 60.0
    return Minute(start_s, start_s + 60.0, (), gap_s=gap_s, covered_s=60.0 - min(gap_s, 60.0), house_current_a=amps,
                  charge_in_ah=in_ah, charge_out_ah=out_ah, house_voltage_v=volts)


def _ended(held: swings.SwingsState, vehicle: Vehicle) -> swings.SwingsState:
    return swings.update(held, _minute(1e6, 14.4, 0.3), vehicle, _found("full", 0.0, 1.0))


@pytest.mark.parametrize("acid_ah", [60.0, 85.0, 100.0])
def test_the_acid_is_found_from_two_quiet_hours(acid_ah: float) -> None:
    vehicle = _vehicle()
    held = _ended(_lived(vehicle, acid_ah, 20.0, 2.0), vehicle)
    own = swings.own_capacity(held, vehicle)
    assert isinstance(own, Estimate)
    assert own.value == pytest.approx(acid_ah, rel=0.10)        # the first depth was reckoned with the label
    assert own.low < acid_ah < own.high


def test_lost_plates_leave_the_acid_as_it_was() -> None:
    """Bode 1977: rest voltage goes with the acid alone."""
    vehicle = _vehicle()
    held = _ended(_lived(vehicle, 60.0, 20.0, 2.0, acid_ah=100.0), vehicle)
    own = swings.own_capacity(held, vehicle)
    assert isinstance(own, Estimate) and own.value == pytest.approx(100.0, rel=0.05)


def test_more_swings_never_average_out_the_slope_of_the_curve() -> None:
    vehicle, held = _vehicle(), swings.begin()
    one = _ended(_lived(vehicle, 90.0, 20.0, 2.0), vehicle)
    held = one
    for _ in range(30):
        held = swings._close_swing(held, 1e6, swings.OpenSwing(), one.swings[0])
    few, many = swings.own_capacity(one, vehicle), swings.own_capacity(held, vehicle)
    assert many.high - many.low < few.high - few.low
    assert many.high - many.low > 2 * 1.96 * KIND.span_sigma_ln * many.value


def test_what_was_drawn_from_full_is_a_bound() -> None:
    vehicle = _vehicle()
    held = _lived(vehicle, 100.0, 24.0, 2.0)
    assert 43.0 < held.most_ah < 48.0


def test_a_gap_ends_the_swing() -> None:
    vehicle = _vehicle()
    held = _lived(vehicle, 100.0, 4.0, 2.0)
    held = swings.update(held, _minute(20000.0, 12.5, -2.0, gap_s=3600.0), vehicle, _found("full", 20000.0, 0.9))
    assert held.open == swings.OpenSwing()
    assert isinstance(swings.own_capacity(held, vehicle), NotYet)


@pytest.mark.parametrize("direction", ["down", "up"])
def test_lithium_is_measured_between_full_and_its_knee(direction: str) -> None:
    vehicle, load_a = _vehicle("lfp"), 5.0 if direction == "down" else -5.0
    ends = ("full", 1.0), ("empty", 0.05)
    (first, begin), (last, end) = ends if direction == "down" else ends[::-1]
    volts = {"full": 13.9, "empty": 12.1}       # at rest 12.1 V is 94 to 96 % deep
    held = swings.update(swings.begin(), _minute(0.0, volts[first], -0.1), vehicle, _found(first, 0.0, begin))
    for k in range(1, int(0.94 * 80.0 / 5.0 * 60)):
        held = swings.update(held, _minute(60.0 * k, 13.2, -load_a), vehicle, _found(first, 60.0 * k, 0.5))
    held = swings.update(held, _minute(1e5, volts[last], -0.1), vehicle, _found(last, 0.0, end))
    own = swings.own_capacity(held, vehicle)
    assert isinstance(own, Estimate) and own.value == pytest.approx(80.0, rel=0.02)
    assert 0.05 < (own.high - own.value) / own.value < 0.10
