"""The books by day and by source."""
import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.findings import JoinFindings
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from monitor.usage import counts

VEHICLE = Vehicle(Battery("house", "agm", 100), Battery("starter", "flooded", 70))


def _days(current_at, days: float, engine_at=lambda hour: "off", clock: bool = True) -> counts.CountsState:
    held = counts.begin()
    samples = (Sample(k * 60.0, 12.8, current_at(k / 60 % 24), hour=k / 60 % 24 if clock else None)
               for k in range(int(days * 1440) + 1))
    for minute in minutes(samples):
        hour = minute.end_s / 3600 % 24
        held = counts.update(held, minute, JoinFindings(engine=engine_at(hour)))
    return held


def test_sun_alternator_and_loads_go_to_their_own_columns() -> None:
    """4 h of 10 A sun, 1 h of 30 A with the engine running, 19 h of 2 A load: 40, 30 and 38 Ah."""
    held = _days(lambda h: 10.0 if 9 <= h < 13 else 30.0 if 15 <= h < 16 else -2.0, 1,
                 lambda h: "running" if 14.99 < h <= 16.01 else "off")
    total = held.total
    assert total.sun_ah == pytest.approx(40, abs=0.3)
    assert total.alternator_ah == pytest.approx(30, abs=0.5)
    assert total.spent_ah == pytest.approx(38, abs=0.3)
    assert total.other_ah == 0


def test_charge_in_the_dark_without_an_engine_is_neither_sun_nor_alternator() -> None:
    held = _days(lambda h: 5.0 if 1 <= h < 3 else 0.0, 1)
    assert held.total.other_ah == pytest.approx(10, abs=0.2) and held.total.sun_ah == 0


@pytest.mark.parametrize("clock", [True, False])
def test_a_day_is_closed_and_a_new_one_begun(clock: bool) -> None:
    held = _days(lambda h: -2.0, 2.5, clock=clock)
    assert held.yesterday is not None
    assert held.yesterday.spent_ah == pytest.approx(48, abs=0.2)
    assert held.today.spent_ah == pytest.approx(24, abs=0.3)
    assert held.total.spent_ah == pytest.approx(120, abs=0.2)


def test_energy_is_charge_times_voltage() -> None:
    held = _days(lambda h: -2.0, 1)
    assert held.total.spent_wh == pytest.approx(held.total.spent_ah * 12.8)
