"""A shunt wired backwards, another battery, another chemistry: found, and not invented."""
import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.estimation import house_charge as charge
from monitor.findings import JoinFindings, NotYet
from tests.monitor.test_charge import AGM, DAY_MIN, LITHIUM, STARTER, Plain, camp, minute


def active(held, vehicle) -> set[str]:
    return {c.kind for c in charge.conditions(held, vehicle) if c.active}


def cycling(held, vehicle, k0: int, minutes: int, ohm: float, sign: float = 1.0, rest_v: float = 12.5):
    """A fridge switching every six minutes on a battery of this resistance."""
    for k in range(k0, k0 + minutes):
        amps = -5.0 if (k // 6) % 2 else -0.1
        held = charge.update(held, minute(k, sign * amps, rest_v + ohm * amps), vehicle, JoinFindings())
    return held


def test_a_shunt_wired_backwards_is_found_within_hours_and_nothing_else_is_claimed() -> None:
    held = cycling(charge.begin(AGM), AGM, 0, 180, 0.010, sign=-1.0)
    assert "shunt_reversed" in active(held, AGM)
    found = charge.findings(held, AGM)
    assert isinstance(found.charge_frac, NotYet) and "backwards" in found.charge_frac.because


def test_a_shunt_put_right_clears_it() -> None:
    held = cycling(charge.begin(AGM), AGM, 0, 180, 0.010, sign=-1.0)
    held = cycling(held, AGM, 180, 360, 0.010)
    assert active(held, AGM) == set()


@pytest.mark.parametrize("vehicle", [AGM, LITHIUM], ids=["lead", "lithium"])
def test_ordinary_days_raise_none_of_them(vehicle: Vehicle) -> None:
    volts = (12.90, 11.80) if vehicle is AGM else (13.30, 13.00)
    for held, _, _ in camp(vehicle, Plain(92.0, 60.0, *volts, 0.008), 3):
        assert active(held, vehicle) == set()


def test_another_battery_after_a_gap_is_asked_about() -> None:
    held = cycling(charge.begin(AGM), AGM, 0, DAY_MIN, 0.010, rest_v=12.6)
    for k in range(DAY_MIN, DAY_MIN + 30):
        held = charge.update(held, minute(k, None, None), AGM, JoinFindings())
    held = cycling(held, AGM, DAY_MIN + 30, 300, 0.018, rest_v=12.15)
    assert "battery_swapped" in active(held, AGM)
    condition = next(c for c in charge.conditions(held, AGM) if c.kind == "battery_swapped")
    assert "battery replaced" in condition.look_first
    assert active(charge.replace_battery(held, AGM), AGM) == set()


def test_the_same_battery_after_a_gap_is_not() -> None:
    held = cycling(charge.begin(AGM), AGM, 0, DAY_MIN, 0.010, rest_v=12.6)
    for k in range(DAY_MIN, DAY_MIN + 30):
        held = charge.update(held, minute(k, None, None), AGM, JoinFindings())
    held = cycling(held, AGM, DAY_MIN + 30, 300, 0.010, rest_v=12.58)
    assert active(held, AGM) == set()


def test_lithium_sold_as_lead_gives_itself_away() -> None:
    held = charge.begin(AGM)
    for k in range(480):
        held = charge.update(held, minute(k, -3.0, 13.15), AGM, JoinFindings())
    assert "behaves like lithium" in charge.findings(held, AGM).chemistry_doubt
    assert "battery_type_doubtful" in active(held, AGM)


def test_lead_sold_as_lithium_gives_itself_away() -> None:
    held, battery = charge.begin(LITHIUM), Plain(90.0, 80.0, 12.80, 11.80, 0.008)
    for k in range(900):
        volts, amps = battery.step(-3.0)
        held = charge.update(held, minute(k, amps, volts), LITHIUM, JoinFindings())
    assert "behaves like lead-acid" in charge.findings(held, LITHIUM).chemistry_doubt


def test_flooded_sold_as_agm_is_named_after_some_full_charges() -> None:
    for held, found, _ in camp(AGM, Plain(92.0, 60.0, 12.66, 11.75, 0.008), 6):
        pass
    assert "behaves like flooded" in found.chemistry_doubt


def test_an_agm_within_its_own_range_is_believed() -> None:
    for held, found, _ in camp(Vehicle(Battery("house", "agm", 100.0), STARTER), Plain(92.0, 60.0, 12.85, 11.75, 0.008), 6):
        assert found.chemistry_doubt == ""


def interrupted(vehicle: Vehicle, minutes_s: int, after_ohm: float, after_v: float, before: int = DAY_MIN):
    """A day on 10 mΩ at 12.6 V, silence, then five hours on another resistance and voltage."""
    held = cycling(charge.begin(vehicle), vehicle, 0, before, 0.010, rest_v=12.6)
    for k in range(before, before + minutes_s):
        held = charge.update(held, minute(k, None, None), vehicle, JoinFindings())
    return cycling(held, vehicle, before + minutes_s, 300, after_ohm, rest_v=after_v)


@pytest.mark.parametrize("silent_min", [10, 30, 2 * DAY_MIN])
@pytest.mark.parametrize("ohm", [0.004, 0.022])
def test_half_or_twice_the_resistance_after_any_interruption_is_asked_about(silent_min: int, ohm: float) -> None:
    held = interrupted(AGM, silent_min, ohm, 12.5)
    assert "battery_swapped" in active(held, AGM)
    condition = next(c for c in charge.conditions(held, AGM) if c.kind == "battery_swapped")
    assert "resistance" in condition.evidence
    assert active(charge.replace_battery(held, AGM), AGM) == set()


@pytest.mark.parametrize("silent_min", [10, 30, 2 * DAY_MIN])
@pytest.mark.parametrize("ohm", [0.0085, 0.010, 0.012])
def test_the_same_battery_is_believed_after_any_interruption(silent_min: int, ohm: float) -> None:
    """It was charged or drained meanwhile as far as its size lets it: a C/5 load, an engine."""
    moved_v = min(0.24 * silent_min / 60.0, 0.3)
    for volts in (12.6 - moved_v, 12.6, 12.6 + min(moved_v, 0.15)):
        assert "battery_swapped" not in active(interrupted(AGM, silent_min, ohm, volts), AGM)


def test_a_voltage_that_jumps_within_minutes_is_asked_about_though_the_resistance_is_alike() -> None:
    held = interrupted(AGM, 6, 0.010, 12.15)
    condition = next(c for c in charge.conditions(held, AGM) if c.kind == "battery_swapped")
    assert condition.active and "0.45 V lower" in condition.evidence


def test_another_interruption_soon_after_hides_nothing() -> None:
    held = cycling(charge.begin(AGM), AGM, 0, DAY_MIN, 0.010, rest_v=12.6)
    k = DAY_MIN
    for silent, on in ((30, 40), (5, 40), (5, 300)):
        for n in range(k, k + silent):
            held = charge.update(held, minute(n, None, None), AGM, JoinFindings())
        held = cycling(held, AGM, k + silent, on, 0.022, rest_v=12.5)
        k += silent + on
    assert "battery_swapped" in active(held, AGM)


def test_the_strongest_acid_is_not_taken_for_lithium() -> None:
    """Full at 13.19 V, falling by 1.71 V: above 13.05 V it gives a twelfth of what it holds, and lithium nearly all."""
    held, battery = charge.begin(AGM), Plain(100.0, 100.0, 13.19, 11.48, 0.006)
    for k in range(5 * DAY_MIN):
        hour = (k / 60) % 24
        volts, amps = battery.step(12.0 if 9 <= hour < 16 else -3.0)
        held = charge.update(held, minute(k, amps, volts), AGM, JoinFindings())
        assert not held.suspicion.odd_ah > 12.0
    assert "battery_type_doubtful" not in active(held, AGM)


def test_lithium_that_lives_near_empty_is_not_taken_for_lead() -> None:
    """Ten per cent out each night at 12.3 V, ten per cent in each day at 13.1: never more than that lies at such voltages."""
    held = charge.begin(LITHIUM)
    for k in range(8 * DAY_MIN):
        night = (k / 60) % 24 < 12
        amps, volts = (-0.83, 12.30) if night else (0.84, 13.10)
        held = charge.update(held, minute(k, amps, volts), LITHIUM, JoinFindings())
    assert held.suspicion.odd_ah < 20.0 and "battery_type_doubtful" not in active(held, LITHIUM)


def test_thin_acid_is_named_with_what_to_do_and_believed_once_it_is_set() -> None:
    for density, doubtful in ((None, True), (1.21, False)):
        vehicle = Vehicle(Battery("house", "flooded", 100.0, acid_density_kg_l=density), STARTER)
        for held, found, _ in camp(vehicle, Plain(92.0, 60.0, 12.32, 11.45, 0.008), 6):
            pass
        assert ("thin" in found.chemistry_doubt and "acid_density_kg_l" in found.chemistry_doubt) is doubtful
        assert ("battery_type_doubtful" in active(held, vehicle)) is doubtful
