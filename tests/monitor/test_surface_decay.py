"""What earlier parkings teach the next one, within what bounds; and what is steep enough to be a fast drain."""
from dataclasses import replace

import pytest

from monitor.battery.label import Battery
from monitor.detection.starter import drain, drain_verdict, surface_decay
from monitor.detection.starter.drain_verdict import Rest
from monitor.detection.starter.surface_decay import FALL, SURFACE, Usual

STARTER = Battery("starter", "flooded", 70.0)


def parked(fall_v_per_day: float = 0.008, slow_v: float = 0.02, hours: float = 60.0) -> surface_decay.Decay:
    """The filter at the end of a parking: its fall, and what is left of the slowest surface charge by then."""
    decay = surface_decay.begin(0.0, 12.8, 15.0, Usual())
    state = list(decay.state)
    state[FALL], state[SURFACE + 3] = fall_v_per_day - 0.002, slow_v
    return replace(decay, state=tuple(state), at_s=3600.0 * hours)


def test_parkings_of_long_ago_count_less_and_less() -> None:
    """Forty alike, then one that falls by 16 mV a day more: a sixteenth of that is learnt."""
    usual = Usual()
    for _ in range(40):
        usual = surface_decay.learn(usual, parked(0.008))
    assert surface_decay.learn(usual, parked(0.024)).fall - usual.fall == pytest.approx(0.001, rel=0.02)


@pytest.mark.parametrize(("slow_v", "begun_v"), [(0.04, 0.12), (0.17, 0.52), (0.4, 0.6), (-0.025, -0.076), (-0.2, -0.1)])
def test_a_surface_charge_followed_back_is_one_that_a_battery_can_have(slow_v: float, begun_v: float) -> None:
    """Of 54 h, after sixty: three times as much at the start, but no more than 0.6 V and no less than -0.1 V."""
    assert surface_decay.learn(Usual(), parked(slow_v=slow_v)).surface_v[3] == pytest.approx(begun_v, rel=0.02)


@pytest.mark.parametrize(("fall", "expected"), [(0.0005, 0.001), (0.0025, 0.001), (0.00325, 0.00125)])
def test_no_vehicle_is_expected_to_draw_nothing(fall: float, expected: float) -> None:
    """A millivolt a day at least, besides what the battery loses by itself."""
    usual = Usual(count=8, fall=fall)
    assert surface_decay.begin(0.0, 12.8, 15.0, usual).state[FALL] == pytest.approx(expected)


def rests(fallen_v: float, expected_v_per_h: float = 0.0) -> tuple[Rest, ...]:
    """A day and three hours of quarters, of which the last two and a half hours fall evenly by so much."""
    volts = [12.7 - fallen_v * max(k - 97, 0) / 10 for k in range(108)]
    return tuple(Rest(900.0 * k, v, v, expected_v_per_h) for k, v in enumerate(volts))


@pytest.mark.parametrize(("fallen_v", "expected_v_per_h", "found"), [
    (0.025, 0.0, False), (0.035, 0.0, True), (0.08, 0.016, False), (0.10, 0.016, True), (0.12, 0.016, True)])
def test_a_fast_drain_falls_much_faster_than_the_surface_charge(fallen_v: float, expected_v_per_h: float, found: bool) -> None:
    """30 mV beyond one and a half times what is expected of the surface: 40 mV in two and a half hours of 16 mV an hour, so 90 mV."""
    assert (drain_verdict.find_fast(rests(fallen_v, expected_v_per_h), 0.0, STARTER) is not None) == found


@pytest.mark.parametrize(("apart_h", "found"), [(3.2, True), (4.0, False)])
def test_quarters_far_apart_do_not_show_a_fast_drain(apart_h: float, found: bool) -> None:
    late = tuple(replace(rest, at_s=rest.at_s + (apart_h - 2.5) * 3600.0) if k > 100 else rest for k, rest in enumerate(rests(0.2)))
    assert (drain_verdict.find_fast(late, 0.0, STARTER) is not None) == found


@pytest.mark.parametrize(("extra_v_per_day", "found"), [(0.0066, False), (0.0080, True)])
def test_a_slow_drain_is_only_told_where_it_takes_more_than_22_ma_for_sure(extra_v_per_day: float, found: bool) -> None:
    """22 mA take 0.53 Ah a day, of 70 Ah 0.75 %: 7.2 mV of the 0.95 V between full and empty. The search is as sure as it can be."""
    sigma_v = 0.0001
    onset = replace(drain.begin(30 * 3600.0).onsets[0], ramp_fit=extra_v_per_day / sigma_v**2, ramp_weight=1 / sigma_v**2)
    state = replace(surface_decay.begin(0.0, 12.7, 15.0, Usual()), at_s=90 * 3600.0)
    drained, passes = drain_verdict.find_slow(drain.Search((onset,)), state, (), STARTER)
    assert passes is found and (drained is not None) is found
    assert drained is None or drained.low_a < 0.024 < drained.high_a
