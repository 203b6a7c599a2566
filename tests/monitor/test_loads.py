"""Net current split into load and harvest, and the loads told apart."""
from math import pi, sin

import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.findings import ChargeFindings, Estimate, JoinFindings, NotYet
from monitor.sample import Minute, Sample
from monitor.sampling.gather import minutes
from monitor.store.saving import from_text, to_text
from monitor.usage import loads
from monitor.usage.history import DAY_SLOTS

VEHICLE = Vehicle(Battery("house", "agm", 100.0, absorption_v=14.4, float_v=13.6), Battery("starter", "agm", 60.0))
NOT_YET = NotYet("not part of this test")
CHARGE = ChargeFindings(Estimate(0.7, 0.65, 0.75, "counting"), Estimate(95.0, 85.0, 105.0, "learnt"),
                        NOT_YET, NOT_YET, NOT_YET, NOT_YET)
NOON_HOUR = 13.0


def sun_a(hour: float) -> float:
    return 6.0 * sin(pi * (hour - 7.0) / 12.0) if 7 < hour < 19 else 0.0


def load_a(hour: float) -> float:
    return 3.5 if 19.5 <= hour < 22.5 else 2.0


def minute(at_s: float, current_a: float | None, span_s: float = 600.0, volts: float = 12.7, hour: float | None = None,
           **more) -> Minute:
    return Minute(at_s - span_s, at_s, (), covered_s=span_s if current_a is not None else 0.0,
                  gap_s=0.0 if current_a is not None else span_s, house_current_a=current_a, house_voltage_v=volts,
                  house_temperature_c=20.0, hour=hour, **more)


def lived(
    days: float, clock: bool = True, change=lambda at_s, current_a: current_a, shift_h: float = 0.0,
) -> loads.LoadsState:
    held = loads.begin()
    for k in range(1, int(days * 144) + 1):
        at_s = k * 600.0
        hour = (at_s / 3600 + shift_h) % 24
        current = change(at_s, sun_a(hour) - load_a(hour))
        held = loads.update(held, minute(at_s, current, hour=hour if clock else None), VEHICLE, JoinFindings(), CHARGE)
    return held


def test_load_and_harvest_of_a_day_come_out_of_the_net_current() -> None:
    found = loads.findings(lived(8))
    hours = [k / 6 for k in range(144)]
    assert found.shares.load_ah_per_day.value == pytest.approx(sum(map(load_a, hours)) / 6, rel=0.06)
    assert found.shares.harvest_ah_per_day.value == pytest.approx(sum(map(sun_a, hours)) / 6, rel=0.10)
    assert found.shares.base_a.value == pytest.approx(2.0, abs=0.1)


def test_hours_not_measured_are_not_learnt_as_hours_without_load() -> None:
    night = lambda at_s, current: None if (at_s / 3600) % 24 < 5 and at_s > 5 * 86400 else current  # noqa: E731
    found = loads.findings(lived(9, change=night))
    assert found.shares.load_ah_per_day.value == pytest.approx(24 * 2.0 + 4.5, rel=0.08)


def test_sunrise_and_sunset_are_learnt_without_any_clock_or_place() -> None:
    held = lived(9, clock=False, shift_h=5.0)
    found = loads.findings(held)
    at_end = (9 * 24 + 5.0) % 24
    assert (found.solar_hour - (at_end - 1.0) % 24 + 12) % 24 - 12 == pytest.approx(0.0, abs=1.0)
    assert found.sun_rises_solar_hour == pytest.approx(6.0, abs=1.0)
    assert found.sun_leaves_solar_hour == pytest.approx(18.0, abs=1.0)
    noon = max(range(DAY_SLOTS), key=lambda s: held.sky.light_a[s])
    assert abs(noon - DAY_SLOTS // 2) <= 2


def test_a_drive_is_kept_out_of_the_solar_history() -> None:
    held = loads.begin()
    for k in range(1, 144 * 4 + 1):
        hour = k / 6 % 24
        driving = 10 <= hour < 12
        current = 25.0 if driving else sun_a(hour) - load_a(hour)
        join = JoinFindings(engine="running" if driving else "off")
        held = loads.update(held, minute(k * 600.0, current, hour=hour), VEHICLE, join, CHARGE)
    assert max(v for v in held.past.harvest_a if v is not None) < 8.0
    assert held.drive_charge_a == pytest.approx(25.0, abs=0.5)


def test_measured_solar_current_makes_the_split_exact() -> None:
    held = loads.begin()
    for k in range(1, 144 * 2 + 1):
        hour = k / 6 % 24
        held = loads.update(held, minute(k * 600.0, sun_a(hour) - 4.0, hour=hour, solar_current_a=sun_a(hour)), VEHICLE,
                            JoinFindings(), CHARGE)
    assert all(v == pytest.approx(4.0, abs=0.02) for v in held.past.load_a if v is not None)


def test_what_is_held_can_be_saved_and_read_back_exactly() -> None:
    held = lived(2.3)
    assert from_text(loads.LoadsState, to_text(held)) == held


def cycling(
    step_s: float, days: float, fridge_a: float = 4.0, on_s: float = 700.0, off_s: float = 1500.0,
) -> loads.LoadsState:
    """A night without end: a fridge, 0.5 A of base, lights from 20:00 to 22:30, a pump now and then."""
    held, samples = loads.begin(), []
    for k in range(1, int(days * 86400 / step_s) + 1):
        at_s = k * step_s
        current = -0.5
        into_s = (at_s - step_s) % (on_s + off_s)
        ran_s = min(into_s + step_s, on_s) - min(into_s, on_s)
        current -= fridge_a * ran_s / step_s
        current -= 1.5 if 20 <= at_s / 3600 % 24 < 22.5 else 0.0
        current -= 5.0 if at_s % 7200 < 45 and step_s <= 60 else 0.0
        samples.append(Sample(at_s, 12.6, current, 12.7, 20.0, hour=at_s / 3600 % 24))
    for gathered in minutes(samples):
        held = loads.update(held, gathered, VEHICLE, JoinFindings(), CHARGE)
    return held


@pytest.mark.parametrize(("step_s", "days", "within"), [(1.0, 0.7, 0.05), (30.0, 2.0, 0.05), (120.0, 2.0, 0.10)])
def test_the_fridge_is_told_from_the_other_loads_by_its_steps(step_s: float, days: float, within: float) -> None:
    found = loads.findings(cycling(step_s, days)).shares
    assert found.fridge_a.value == pytest.approx(4.0, rel=0.06)
    assert found.fridge_ah_per_day.value == pytest.approx(24 * 4.0 * 700 / 2200, rel=within)
    assert found.fridge_ah_per_day.low < 24 * 4.0 * 700 / 2200 < found.fridge_ah_per_day.high


def test_a_load_that_comes_once_an_evening_is_no_fridge() -> None:
    found = loads.findings(cycling(30.0, 3.0, fridge_a=0.0)).shares
    assert isinstance(found.fridge_ah_per_day, NotYet)
    assert found.base_a.value == pytest.approx(0.5, abs=0.05)


def test_bedtime_is_learnt_from_the_lights() -> None:
    held = cycling(30.0, 4.0)
    solar_out = 22.5 - 1.0  # the clock's noon is taken an hour late
    assert loads.lights_out_solar_hour(held) == pytest.approx(solar_out, abs=0.3)
