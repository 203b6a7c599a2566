"""The one step that plans and what-if live by: what of it can be said with a pencil."""
from dataclasses import replace

import pytest

from monitor.battery.limits import limits_of
from monitor.planning.life_engine import LifeDay, Rig, live, warmth_frac

NOTHING = (tuple([0.0] * 101),) * 4
RIG = Rig(limits_of("agm"), 100.0, 0.5, 0.12, 0.08, 1.0, 1.0, 0.0, 0.0, 0.0, NOTHING, NOTHING)


def _day(battery_c: float, load_ah: float = 4.0, fridge_ah: float = 1.0) -> LifeDay:
    return LifeDay([0.0] * 24, [load_ah] * 24, [fridge_ah] * 24, [0.0] * 24, [0.0] * 24, battery_c, battery_c, 0)


@pytest.mark.parametrize("battery_c", [-10.0, 25.0])
def test_charge_is_counted_of_the_rating_whatever_the_warmth(battery_c: float) -> None:
    """5 Ah an hour out of 100 Ah: half is left after ten hours."""
    lived = live([_day(battery_c)], RIG, 1.0, keep_slots=True)
    assert lived.charge_frac[9] == pytest.approx(0.5)


def test_in_the_cold_a_battery_is_empty_when_less_is_out() -> None:
    warm, cold = (live([_day(c)], RIG, 1.0, keep_slots=True) for c in (25.0, -10.0))
    less = 1 - warmth_frac(True, -10.0)
    assert 0.1 < less < 0.4
    assert min(cold.charge_frac) == pytest.approx(less, abs=1e-9) and min(warm.charge_frac) == pytest.approx(0.0, abs=0.05)
    assert cold.unserved_ah - warm.unserved_ah == pytest.approx(100 * less, abs=6.0)
    assert live([_day(-10.0)], replace(RIG, follows_warmth=False), 1.0).unserved_ah == pytest.approx(warm.unserved_ah)


def test_what_is_out_already_does_not_come_back_with_the_cold() -> None:
    """Nearly empty in the warm, then frost: nothing is taken, and nothing appears."""
    lived = live([_day(-10.0)], RIG, 0.05, keep_slots=True)
    assert all(z == pytest.approx(0.05) for z in lived.charge_frac)
    assert lived.out_ah == 0.0 and lived.unserved_ah == pytest.approx(24 * 5.0)
