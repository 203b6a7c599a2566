"""Peukert's relation against worked examples, and what must never be done with it."""
import pytest

from monitor.battery import lead_acid, ratings
from monitor.battery.label import Battery, Vehicle
from monitor.estimation import charge
from monitor.findings import JoinFindings
from monitor.sample import Minute, Sample


def hours_to_empty(capacity_ah: float, rated_hours: float, amps: float, exponent: float) -> float:
    """How long what can be had at this rate lasts [h]."""
    return capacity_ah * ratings.reachable_frac(capacity_ah, rated_hours, amps, exponent) / amps


def test_tutorial_example() -> None:
    """120 Ah at 20 h, 120 A, k 1.4: 0.30 h (tutoring page on Peukert 1897, looked up)."""
    assert hours_to_empty(120, 20, 120, 1.4) == pytest.approx(0.3017, rel=5e-3)


def test_one_ampere_form_and_rated_form_are_not_the_same() -> None:
    """100 Ah taken as capacity at 1 A, k 1.2, 5 A: 14.4956 h (electrotechnik.net, 2010); with a 20 h rating 20 h."""
    assert hours_to_empty(100, 100, 5, 1.2) == pytest.approx(14.4956, rel=1e-4)
    assert hours_to_empty(100, 20, 5, 1.2) == pytest.approx(20.0)


@pytest.mark.parametrize(("amps", "hours"), [(5, 20), (10, 8.706), (20, 3.789), (25, 2.899), (50, 1.262), (100, 0.549)])
def test_hundred_ampere_hours_at_many_rates(amps: float, hours: float) -> None:
    """Computed from the relation by hand, k 1.2; at 2.5 A it would promise 45.95 h, where only 40 h are there."""
    assert hours_to_empty(100, 20, amps, 1.2) == pytest.approx(hours, rel=1e-3)
    assert hours_to_empty(100, 20, 2.5, 1.2) == pytest.approx(40.0)


def test_slow_discharges_promise_no_more_than_all() -> None:
    assert ratings.reachable_frac(100, 20, 1.0, 1.2) == 1.0
    assert ratings.reachable_frac(100, 20, 10.0, 1.2) == pytest.approx(0.871, abs=1e-3)


@pytest.mark.parametrize(("name", "low", "high"), [("flooded", 1.20, 1.30), ("agm", 1.05, 1.15), ("gel", 1.10, 1.20)])
def test_default_exponents_are_the_published_ones(name: str, low: float, high: float) -> None:
    """Reference table of typical exponents (looked up)."""
    assert low <= lead_acid.KINDS[name].peukert <= high


def test_charge_left_behind_by_a_burst_is_not_booked_as_drawn() -> None:
    """Doerffel and Sharkh, J. Power Sources 155 (2006) 395: unspent charge is recoverable at a lower rate."""
    vehicle = Vehicle(Battery("house", "flooded", 100.0), Battery("starter", "flooded", 60.0))
    held = charge.begin(vehicle)
    for k in range(30):
        at_s = 60.0 * (k + 1)
        minute = Minute(at_s - 60, at_s, (Sample(at_s, 11.6, -50.0),), covered_s=60.0, house_current_a=-50.0,
                        charge_out_ah=50 / 60, house_voltage_v=11.6)
        held = charge.update(held, minute, vehicle, JoinFindings())
    assert held.count.drawn_ah - 1e9 == pytest.approx(25.0, abs=1e-3)
