"""Gathering samples into minutes: where current becomes ampere-hours."""
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.sample import Sample
from monitor.sampling.gather import BRIDGE_S, Gathering, add, close, minutes


def _steady(count: int, step_s: float = 1.0, current_a: float = -5.0) -> list[Sample]:
    return [Sample(at_s=k * step_s, house_voltage_v=12.5, house_current_a=current_a, starter_voltage_v=12.7)
            for k in range(1, count + 1)]


def test_five_amperes_for_an_hour_are_five_ampere_hours() -> None:
    made = list(minutes(_steady(3601)))
    assert sum(m.charge_out_ah for m in made) == pytest.approx(5.0, rel=1e-12)
    assert sum(m.energy_out_wh for m in made) == pytest.approx(62.5, rel=1e-12)
    assert sum(m.charge_in_ah for m in made) == 0


def test_a_ramp_through_zero_is_split_exactly_where_it_crosses() -> None:
    """From -1 A to +3 A in 100 s: zero at 25 s; triangles of 1 A x 25 s / 2 and 3 A x 75 s / 2."""
    before, after = Sample(0.0, house_current_a=-1.0), Sample(100.0, house_current_a=3.0)
    minute = close(Gathering(before, (after,)))
    assert minute.charge_out_ah * 3600 == pytest.approx(12.5)
    assert minute.charge_in_ah * 3600 == pytest.approx(112.5)


def test_live_and_replay_cut_at_the_same_places() -> None:
    samples = _steady(500, step_s=1.7)
    held, live = Gathering(), []
    for sample in samples:
        held, minute = add(held, sample)
        if minute:
            live.append(minute)
    live.append(close(held))
    assert live == list(minutes(samples))


def test_a_hole_longer_than_the_bridge_is_a_gap_and_not_charge() -> None:
    first, second = _steady(1)[0], Sample(1 + BRIDGE_S + 1, house_current_a=-5.0)
    minute = list(minutes([first, second]))[1]
    assert minute.gap_s == pytest.approx(BRIDGE_S + 1)
    assert minute.charge_out_ah == 0 and minute.covered_s == 0


def test_a_missing_current_is_a_gap_while_voltage_goes_on() -> None:
    samples = [Sample(float(k), house_voltage_v=12.5, house_current_a=None if 20 <= k < 30 else -3.6)
               for k in range(1, 61)]
    (minute,) = minutes(samples)
    assert minute.gap_s == 11  # from the last current seen to the first one after
    assert minute.covered_s + minute.gap_s == minute.duration_s
    assert minute.house_voltage_v == 12.5


def test_an_unsure_restart_is_a_gap_even_when_short() -> None:
    samples = [Sample(10.0, house_current_a=-5.0), Sample(20.0, house_current_a=-5.0, doubt_s=600.0)]
    (minute,) = minutes(samples)
    assert (minute.gap_s, minute.gap_doubt_s, minute.charge_out_ah) == (10.0, 600.0, 0.0)


def test_time_that_does_not_go_on_is_refused() -> None:
    held, _ = add(Gathering(), Sample(5.0))
    with pytest.raises(ValueError, match="not later"):
        add(held, Sample(5.0))


@given(st.lists(st.floats(-200, 200), min_size=2, max_size=200))
def test_charge_in_less_charge_out_is_the_integral_of_current(currents: list[float]) -> None:
    samples = [Sample(float(k), house_current_a=a) for k, a in enumerate(currents)]
    made = list(minutes(samples))
    integral = sum((a + b) / 2 for a, b in zip(currents, currents[1:])) / 3600
    net = sum(m.charge_in_ah - m.charge_out_ah for m in made)
    assert net == pytest.approx(integral, abs=1e-9)
    assert all(m.charge_in_ah >= 0 and m.charge_out_ah >= 0 for m in made)
