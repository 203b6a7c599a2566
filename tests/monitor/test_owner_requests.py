"""The owner's requests as a fold: what is kept before, what was asked, what is kept after."""
from dataclasses import replace

import pytest

from monitor import pipeline
from monitor.alerts import rules
from monitor.battery.label import Battery, CurrentSensor, Vehicle
from monitor.process.owner_requests import Kept, Moment, carry_out
from monitor.sampling.gather import Gathering
from monitor.store.requests import Request
from monitor.store.state import State
from monitor.wear.battery_history import BatteryHistory

VEHICLE = Vehicle(house=Battery("house", "agm", 100.0), starter=Battery("starter", "flooded", 70.0))


def _kept() -> Kept:
    return Kept(State(pipeline.begin(VEHICLE), rules.begin(), Gathering()), VEHICLE, BatteryHistory())


def _now(currents: tuple[float, ...] = ()) -> Moment:
    return Moment(1000.0, 1.7e9, pipeline.begin, lambda _: list(currents))


def test_a_new_battery_changes_the_vehicle_and_its_history_and_begins_its_estimators_anew() -> None:
    kept = _kept()
    asked = Request("battery_replaced", {"battery": "house", "rated_capacity_ah": 120.0, "label": "from the next town"})
    done = carry_out(kept, asked, _now())
    assert done.kept.vehicle.house.rated_capacity_ah == 120.0
    assert done.kept.vehicle.starter == VEHICLE.starter
    assert done.kept.state.watch.starter is kept.state.watch.starter
    assert dict(done.remember).keys() == {"batteries", "vehicle", "entries"}
    assert done.batch is not None and [e.kind for e in done.batch.events] == ["battery_replaced"]


def test_another_chemistry_drops_the_charger_voltages_of_the_old_one() -> None:
    kept = replace(_kept(), vehicle=replace(VEHICLE, house=replace(VEHICLE.house, absorption_v=14.7, float_v=13.6)))
    done = carry_out(kept, Request("battery_replaced", {"battery": "house", "chemistry": "lfp"}), _now())
    assert (done.kept.vehicle.house.absorption_v, done.kept.vehicle.house.float_v) == (None, None)


def test_the_zero_is_the_mean_of_what_was_measured_and_needs_enough_of_it() -> None:
    done = carry_out(_kept(), Request("calibrate_zero", {"minutes": 5}), _now((0.06,) * 40 + (0.10,) * 40))
    assert done.kept.vehicle.current_sensor.offset_a == pytest.approx(0.08)
    assert dict(done.remember).keys() == {"calibration", "entries"}
    few = carry_out(_kept(), Request("calibrate_zero", {"minutes": 5}), _now((0.06,) * 3))
    assert few.kept == _kept() and few.batch is not None
    assert "only 3 times" in few.batch.events[0].message


@pytest.mark.parametrize("request_", [
    Request("battery_replaced", {"battery": "spare"}),
    Request("battery_replaced", {"battery": "house", "chemistry": "zinc"}),
    Request("capacity_tested", {"capacity_ah": 50.0, "low_ah": 60.0, "high_ah": 70.0, "reached_end": 1, "ended_utc_s": 0.0}),
    Request("acknowledge", {"alert": 99}),
    Request("something_else", {}),
    Request("shelve", {"alert": 1}),
])
def test_what_cannot_be_done_changes_nothing_and_says_why(request_: Request) -> None:
    kept = _kept()
    done = carry_out(kept, request_, _now())
    assert done.kept == kept and done.remember == ()
    assert done.batch is not None and [e.kind for e in done.batch.events] == ["request_refused"]
    assert len(done.batch.events[0].message) > 30


def test_the_gain_is_what_the_meter_shows_over_what_the_shunt_shows() -> None:
    """By hand: the meter 8.16 A, the shunt -8.00 A with a zero of 0.08 A: 8.16 / 8.08 = 1.0099."""
    kept = replace(_kept(), vehicle=replace(VEHICLE, current_sensor=CurrentSensor(offset_a=0.08, offset_sigma_a=0.005)))
    asked = {"meter_a": 8.16, "digit_a": 0.01, "limit_frac": 0.015, "minutes": 0.5}
    done = carry_out(kept, Request("calibrate_gain", asked, "mate"), _now((-8.0,) * 30))
    sensor = done.kept.vehicle.current_sensor
    assert sensor.gain == pytest.approx(1.0099, abs=1e-4) and sensor.offset_a == 0.08
    assert sensor.gain_sigma_frac == pytest.approx(0.015 / 3**0.5, rel=0.05), "a limit of error is rectangular (GUM 4.3.7)"
    assert dict(done.remember).keys() == {"calibration", "entries"} and done.entry == 1
    back = carry_out(done.kept, Request("undo", {"entry": 1}), _now())
    assert back.kept.vehicle == kept.vehicle and back.relearn == ("charge",)


@pytest.mark.parametrize(("currents", "change", "why"), [
    ((-8.0,) * 5, {}, "only 5 times"), ((-8.0, -6.0) * 20, {}, "one steady load"), ((-0.3,) * 30, {"meter_a": 0.3}, "too little"),
    ((-4.0,) * 30, {}, "wrong scale"), ((-8.0,) * 30, {"limit_frac": 0.5}, "of no use"), ((-8.0,) * 30, {"digit_a": 9.0}, "of no use")])
def test_a_gain_that_cannot_be_is_refused_with_what_to_do(currents: tuple[float, ...], change: dict, why: str) -> None:
    asked = {"meter_a": 8.16, "digit_a": 0.01, "limit_frac": 0.015, "minutes": 0.5} | change
    done = carry_out(_kept(), Request("calibrate_gain", asked), _now(currents))
    assert why in done.refused and done.kept == _kept()


def _with_load() -> Kept:
    from monitor.usage.found_loads import FoundLoadsState
    from monitor.usage.run_kinds import FoundLoad

    kept = _kept()
    found = FoundLoadsState(found=(FoundLoad(1, 4.1, 900.0, 500.0, 20.0, 20), FoundLoad(2, 1.9, 14400.0, 500.0, 3.0, 3)), next_number=3)
    return replace(kept, state=replace(kept.state, watch=replace(kept.state.watch, found_loads=found)))


def test_a_load_is_named_renamed_and_the_name_undone() -> None:
    kept = _with_load()
    done = carry_out(kept, Request("name_load", {"load": 1, "name": "fridge"}, "mate"), _now())
    assert [(n.name, n.number, n.current_a) for n in done.kept.vehicle.named_loads] == [("fridge", 1, 4.1)]
    assert dict(done.remember).keys() == {"load_names", "vehicle", "entries"}
    assert done.said == 'The load of 4.1 A is "fridge". (asked by mate)'
    again = carry_out(done.kept, Request("name_load", {"load": 1, "name": "cool box"}), _now())
    assert [n.name for n in again.kept.vehicle.named_loads] == ["cool box"]
    back = carry_out(again.kept, Request("undo", {"entry": again.entry}), _now())
    assert [n.name for n in back.kept.vehicle.named_loads] == ["fridge"]
    first = carry_out(back.kept, Request("undo", {"entry": done.entry}), _now())
    assert first.kept.vehicle == kept.vehicle and first.relearn == ()


@pytest.mark.parametrize(("values", "why"), [({"load": 9, "name": "fridge"}, "no load number 9"), ({"load": 1, "name": ""}, "no name"),
                                             ({"load": 1, "name": "n" * 25}, "24 letters")])
def test_a_name_that_cannot_be_given_is_refused(values: dict, why: str) -> None:
    kept = _with_load()
    done = carry_out(kept, Request("name_load", values), _now())
    assert why in done.refused and done.kept == kept
