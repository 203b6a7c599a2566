"""The simulated vehicle as a driver: options, time that passes, history that goes on live."""
import pytest
from pydantic import ValidationError

from drivers import driver_class
from drivers.errors import ReadFailed
from drivers.reading import QUANTITIES
from drivers.simulated import SimulatedDriver, SimulatedOptions, history
from drivers.vehicle.scenarios import DEMO, SCENARIOS


def test_the_table_of_drivers_knows_it() -> None:
    assert driver_class("simulated") is SimulatedDriver


def test_each_reading_is_marked_and_lets_time_pass() -> None:
    driver = SimulatedDriver(SimulatedOptions(speed=30.0))
    readings = [driver.read() for _ in range(5)]
    assert [r.at_s for r in readings] == [30.0, 60.0, 90.0, 120.0, 150.0]
    assert all(r.simulated for r in readings)
    assert set(readings[0].values) <= set(QUANTITIES)
    assert {"house_voltage_v", "house_current_a", "starter_voltage_v"} <= set(readings[0].values)


def test_an_hour_can_pass_with_one_reading() -> None:
    driver = SimulatedDriver(SimulatedOptions(speed=3600.0))
    assert driver.read().at_s == 3600.0


def test_live_goes_on_where_history_ended() -> None:
    driver = SimulatedDriver(SimulatedOptions(speed=1.0))
    past = list(driver.history(1.0))
    assert past[-1].at_s == 86400.0
    assert driver.read().at_s == 86401.0
    times = [r.at_s for r in past]
    assert all(b > a for a, b in zip(times, times[1:], strict=False))
    assert max(b - a for a, b in zip(times, times[1:], strict=False)) == pytest.approx(60.0)
    assert min(b - a for a, b in zip(times, times[1:], strict=False)) == pytest.approx(5.0)   # around the drive


def test_skipping_days_comes_to_the_same_vehicle_as_living_them() -> None:
    lived = SimulatedDriver(SimulatedOptions())
    for _ in lived.history(2.0):
        pass
    skipped = SimulatedDriver(SimulatedOptions(skip_days=2.0))
    assert skipped.vehicle.state.at_s == lived.vehicle.state.at_s
    assert skipped.vehicle.house.drawn_ah == pytest.approx(lived.vehicle.house.drawn_ah, abs=1e-9)


def test_the_module_makes_a_history_from_a_plan() -> None:
    readings = list(history(SCENARIOS[DEMO](11), 0.25))
    assert readings[-1].at_s == 0.25 * 86400.0
    assert len(readings) == 360


@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_every_scenario_runs(name: str) -> None:
    driver = SimulatedDriver(SimulatedOptions(scenario=name, skip_days=0.5))
    assert driver.read().at_s == pytest.approx(0.5 * 86400.0 + 1.0)


def test_the_demo_has_close_evenings_and_full_days() -> None:
    driver = SimulatedDriver(SimulatedOptions())
    lowest: dict[int, float] = {}
    full: set[int] = set()
    for _ in driver.history(21.0, 120.0):
        state = driver.vehicle.state
        day = int((state.at_s - 1.0) // 86400.0)
        lowest[day] = min(lowest.get(day, 1.0), state.house_soc_frac)
        if state.house_soc_frac > 0.985:
            full.add(day)
    assert len(full) >= 10
    assert 0.2 < min(lowest.values()) < 0.45
    assert 1 <= sum(low < 0.45 for low in lowest.values()) <= 5


def test_parts_of_the_journey_can_be_changed() -> None:
    options = SimulatedOptions(changes={"panel_w": 50, "house.true_capacity_frac": 0.7, "alternator": "smart"})
    plan = options.plan()
    assert (plan.panel_w, plan.house.true_capacity_frac, plan.alternator) == (50, 0.7, "smart")


@pytest.mark.parametrize("wrong, message", [
    ({"scenario": "moon"}, "no scenario called 'moon'; choose one of late-summer-coast"),
    ({"changes": {"pannel_w": 5}}, "nothing called 'pannel_w'; did you mean 'panel_w'"),
    ({"changes": {"house": 5}}, "'house' has parts; write house.chemistry"),
    ({"changes": {"drives": 5}}, "not a single value"),
    ({"changes": {"alternator": 5}}, "alternator = 5 should be a word"),
    ({"speed": 0}, "greater than 0"),
    ({"sped": 1}, "Extra inputs are not permitted"),
])
def test_wrong_options_are_named(wrong: dict, message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        SimulatedOptions(**wrong)


def test_a_closed_driver_does_not_read() -> None:
    driver = SimulatedDriver(SimulatedOptions())
    driver.close()
    with pytest.raises(ReadFailed, match="closed"):
        driver.read()
