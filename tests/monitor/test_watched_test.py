"""A capacity test that the daemon follows: begun and ended by a request, minute by minute, over a restart, to a result that counts."""
from dataclasses import replace

import pytest

from monitor import pipeline
from monitor.alerts import rules
from monitor.alerts.delivery import Deliverer
from monitor.battery.label import Battery, Vehicle
from monitor.findings import Estimate
from monitor.process import owner_requests
from monitor.process.capacity_watch import TOLD_S, CapacityWatch
from monitor.process.requests_kept import Kept, Moment
from monitor.sample import Minute, Sample
from monitor.sampling.gather import Gathering, minutes
from monitor.store import requests
from monitor.store.requests import Request
from monitor.store.state import State
from monitor.wear.battery_history import BatteryHistory
from monitor.wear.watched_test import WAITS_S, WatchedTest, begin_test, describe_progress, follow_test

VEHICLE = Vehicle(Battery("house", "agm", 60.0), Battery("starter", "agm", 70.0))
FULL = Estimate(0.99, 0.97, 1.0, "full charge seen")


def findings(frac: Estimate = FULL, anchor: str = "full", stage: str = "resting"):
    """What the charge tracker of a fresh vehicle says, with the few words that a test looks at."""
    _, found = pipeline.step(pipeline.begin(VEHICLE), Minute(0.0, 60.0, (Sample(60.0, 12.8, 0.0, 12.7, 20.0),)), VEHICLE)
    return replace(found.charge, charge_frac=frac, anchor=anchor, charging_stage=stage)


def discharge(load_a: float, empty_after_h: float, begins_s: float = 3600.0, until_h: float = 40.0):
    """An hour at rest, then a steady load; the voltage falls through 10.5 V when empty_after_h are over."""
    for k in range(1, int(until_h * 60)):
        at_s = 60.0 * k
        hours = (at_s - begins_s) / 3600
        running = hours > 0
        volts = 12.8 if not running else 12.6 - 1.2 * hours / empty_after_h - (1.5 if hours > empty_after_h else 0.0)
        yield Sample(at_s, round(volts, 3), -load_a if running else 0.0, 12.7, 25.0)


def kept(test: WatchedTest | None = None) -> Kept:
    return Kept(State(pipeline.begin(VEHICLE), rules.begin(), Gathering()), VEHICLE, BatteryHistory(), test=test)


def moment(at_s: float = 0.0) -> Moment:
    return Moment(at_s, 1.7e9, pipeline.begin, lambda _: [], "somebody")


def test_a_test_is_followed_to_its_end_over_restarts_and_its_result_is_asked_to_be_counted() -> None:
    """Its rated 3 A at 25 °C until the voltage falls after 18 h: 54 Ah went out, by the multiplication, and nothing is to be corrected."""
    memory = [""]
    watch = CapacityWatch(None, lambda text: memory.__setitem__(0, text))
    watch.test = begin_test(VEHICLE, 0.0, "somebody", None, False)
    charge_found, counted, said = findings(), None, set()
    for k, minute in enumerate(minutes(discharge(3.0, 18.0))):
        if k % 100 == 50:
            watch = CapacityWatch(memory[0], lambda text: memory.__setitem__(0, text))     # the board was switched off and on
        counted = watch.live(minute, charge_found, VEHICLE, 1.7e9)
        said.add(describe_progress(watch.test)[:28])
        if counted:
            break
    assert counted is not None and counted.kind == "capacity_tested" and counted.by == "somebody"
    assert watch.test.run.drawn_ah == pytest.approx(3.0 * 18.0, rel=0.01)
    assert counted.values["low_ah"] < 54.0 / 0.99 < counted.values["high_ah"] and counted.values["reached_end"] == 1
    assert {"Capacity test: switch the lo", "Capacity test running for 1."} <= said
    assert watch.live(minute, charge_found, VEHICLE, 1.7e9) is None                        # once
    (condition,) = watch.conditions(watch.test.over_s + 60)
    assert condition.active and condition.priority == "high" and "switch the loads off" in condition.seen
    assert len(condition.seen.split()) <= 12
    assert not watch.conditions(watch.test.over_s + TOLD_S + 60)[0].active
    done = owner_requests.carry_out(kept(), counted, moment(watch.test.over_s))
    assert not done.refused and done.kept.state.watch.health.test.reached_end


def test_it_waits_until_the_battery_is_full_and_takes_ordinary_life_for_no_test() -> None:
    test = begin_test(VEHICLE, 0.0, "", None, False)
    half = findings(Estimate(0.5, 0.45, 0.55, "counting"), "rest")
    for minute in minutes(discharge(4.0, 13.0, until_h=5.0)):
        test = follow_test(test, minute, half, VEHICLE)
    assert test.at_work and test.run.phase == "waiting" and "not known to be full" in test.wrong[0]
    assert describe_progress(test) == "Capacity test: it cannot begin yet."
    later = Minute(WAITS_S + 60, WAITS_S + 120, (Sample(WAITS_S + 120, 12.5, 0.0, 12.7, 20.0),))
    assert "two weeks" in follow_test(test, later, half, VEHICLE).over


def test_a_test_to_the_reserve_gives_a_minimum_only() -> None:
    watch = CapacityWatch(None)
    watch.test = begin_test(VEHICLE, 0.0, "", None, True)
    counted = None
    for minute in minutes(discharge(4.0, 13.0)):
        counted = counted or watch.live(minute, findings(), VEHICLE, 0.0)
    assert counted is not None and counted.values["reached_end"] == 0
    assert watch.test.found.startswith("at least") and watch.test.run.drawn_ah == pytest.approx(30.0, abs=0.5)


def test_it_is_begun_and_ended_by_requests_that_say_who_and_refuse_in_a_sentence(tmp_path) -> None:
    requests.ask((tmp_path / "requests",), "begin_capacity_test", stop_v=None, to_reserve=0)
    (asked,) = requests.take(tmp_path / "requests")
    assert asked.kind == "begin_capacity_test" and asked.values == {"stop_v": None, "to_reserve": 0}
    begun = owner_requests.carry_out(kept(), Request("begin_capacity_test", {"stop_v": 10.8, "to_reserve": 0}), moment())
    assert begun.kept.test.stop_v == 10.8 and begun.kept.test.by == "somebody"
    again = owner_requests.carry_out(begun.kept, Request("begin_capacity_test", {"stop_v": None, "to_reserve": 0}), moment())
    assert again.refused and "already" in again.refused
    wrong = owner_requests.carry_out(kept(), Request("begin_capacity_test", {"stop_v": 3.0, "to_reserve": 0}), moment())
    assert "3 V is no end of a test" in wrong.refused
    ended = owner_requests.carry_out(begun.kept, Request("end_capacity_test", {}), moment(60.0))
    assert ended.kept.test.over == "somebody ended it" and "nothing of it counts" in ended.said
    assert owner_requests.carry_out(ended.kept, Request("end_capacity_test", {}), moment(90.0)).refused


def test_what_another_version_wrote_is_left_aside() -> None:
    assert CapacityWatch("{not json").test is None


def test_a_test_message_that_is_asked_for_goes_out_by_every_channel() -> None:
    done = owner_requests.carry_out(kept(), Request("test_alerts", {}), moment())
    got: list[str] = []

    class Phone:
        name = "phone"

        def send(self, change, timeout_s):
            got.append(change.alert.seen)

    deliverer = Deliverer([Phone()])
    for change in done.changes:
        deliverer.offer(change)
    deliverer.close()
    assert got == ["This is a test."] and not done.refused and "somebody asked for it" in done.said
    assert done.kept == kept()                                                             # and no alert stays open
