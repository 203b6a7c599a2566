"""The owner's requests as a fold: what is kept before, what was asked, what is kept after."""
from dataclasses import replace

import pytest

from monitor import pipeline
from monitor.alerts import rules
from monitor.battery.label import Battery, Vehicle
from monitor.planning import battery_history
from monitor.process.owner_requests import Kept, Moment, carry_out
from monitor.sampling.gather import Gathering
from monitor.store.requests import Request
from monitor.store.state import State

VEHICLE = Vehicle(house=Battery("house", "agm", 100.0), starter=Battery("starter", "flooded", 70.0))


def _kept() -> Kept:
    return Kept(State(pipeline.begin(VEHICLE), rules.begin(), Gathering()), VEHICLE, battery_history.read(None))


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
