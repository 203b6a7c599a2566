"""The ensembles that trackers are judged on: equal when asked again, spread as promised, ready to be gathered."""
from itertools import islice

import pytest

from monitor.sampling.gather import minutes
from tests.benchmarks.ensemble import (
    CASES,
    HALF_YEARS,
    PARKINGS,
    camps,
    half_years,
    journey,
    owner,
    parkings,
    vehicles,
)


def test_equal_arguments_give_equal_vehicles_and_other_seeds_others() -> None:
    assert list(vehicles("lead healthy", 3, 7)) == list(vehicles("lead healthy", 3, 7))
    assert list(vehicles("lead healthy", 3, 7)) != list(vehicles("lead healthy", 3, 8))


@pytest.mark.parametrize("case", CASES)
def test_vehicles_are_spread_as_promised(case: str) -> None:
    plans = list(vehicles(case, 40))
    assert all(50.0 <= p.house.label_ah <= 300.0 and 0.65 <= p.house.true_capacity_frac <= 1.03 for p in plans)
    assert all(0.02 <= abs(p.sensor.current_offset_a) <= 0.08 for p in plans)
    assert all(abs(p.sensor.current_gain - 1.0) <= 0.006 for p in plans)
    assert min(p.house.label_ah for p in plans) < 80.0 < 200.0 < max(p.house.label_ah for p in plans)
    assert {p.charging for p in plans} == {"isolator", "dc_dc"}
    assert {p.sensor.with_temperature for p in plans} == {True, False}
    assert {p.house.chemistry == "lfp" for p in plans} == {case.startswith("lithium")}


@pytest.mark.parametrize("case", PARKINGS)
def test_parkings_begin_with_a_drive_and_carry_their_fault(case: str) -> None:
    for plan in parkings(case, 10):
        assert plan.drives[0].start_s < 86400.0
        assert bool(plan.faults) is (case not in ("healthy", "house joins", "smart alternator", "dc_dc"))


@pytest.mark.parametrize("plan", [next(camps(1)), *(next(half_years(c, 1)) for c in HALF_YEARS)], ids=lambda p: p.name)
def test_journeys_can_be_gathered_and_come_with_truth(plan) -> None:
    pairs = list(islice(journey(plan, 60.0), 180))
    gathered = list(minutes(sample for sample, _ in pairs))
    assert len(gathered) == 180
    truth = pairs[-1][1]
    assert gathered[-1].end_s == truth.at_s == 180 * 60.0
    assert gathered[-1].house_voltage_v == pytest.approx(truth.house_voltage_v, abs=0.1)
    assert owner(plan).house.rated_capacity_ah == plan.house.label_ah


def test_an_unknown_case_is_named() -> None:
    with pytest.raises(ValueError, match="no case 'moon'; choose one of"):
        next(vehicles("moon", 1))
