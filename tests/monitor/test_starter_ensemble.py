"""A few random vehicles against bounds: drains, peace, engine and join. The large ones: tests/benchmarks."""
import numpy as np
import pytest

from monitor.detection.starter import starter
from tests.benchmarks import join_scores, outings, parkings
from tests.benchmarks.bench_starter import park, starts, vehicle
from tests.benchmarks.outings import Fault

RUNS = ((30000.0, 36000.0), (60000.0, 63000.0), (90000.0, 95000.0), (120000.0, 124000.0))


def test_sound_parkings_of_every_season_call_no_drain() -> None:
    rng = np.random.default_rng(901)
    for season, thermometer in (("summer", "house"), ("spring", "none"), ("heat", "air"), ("frost", "house")):
        plate = parkings.build(rng, old=season == "heat")
        parked = parkings.parking(rng, plate, 4, season, thermometer=thermometer, busy=season == "spring")
        _, found, _ = park(starter.begin(), parked, vehicle(plate), 0.0)
        assert found is None


@pytest.mark.parametrize(("low_a", "high_a", "goal_h"), [(0.15, 0.22, 20), (0.5, 0.8, 7), (2.0, 3.0, 3)])
def test_most_drains_of_a_size_are_found_in_time(low_a: float, high_a: float, goal_h: float) -> None:
    rng, late = np.random.default_rng(902), []
    for _ in range(3):
        plate = parkings.build(rng)
        parked = parkings.parking(rng, plate, 3, "spring", rng.uniform(low_a, high_a), 40.0, "air")
        _, found, _ = park(starter.begin(), parked, vehicle(plate), 0.0)
        late.append(np.inf if found is None else found[0] - 40.0)
    assert sorted(late)[1] <= goal_h
    assert min(late) > 0


@pytest.mark.parametrize("join", ["engine", "dc_dc"])
def test_engine_and_join_are_told_in_random_vehicles(join: str) -> None:
    rng = np.random.default_rng(903)
    rig = outings.rig(rng, join, spacing_s=30.0)
    lived = join_scores.live(rig, outings.outing(rng, rig, 1.6, RUNS))
    assert lived.engine_right >= 0.98 * lived.engine_known
    assert lived.engine_known >= 0.96 * lived.judged
    assert lived.isolator_right >= 0.97 * lived.isolator_known
    assert not [kind for _, kind in lived.raised if kind.startswith(("isolator", "path"))]


def test_an_isolator_that_stays_open_is_named_by_the_second_run() -> None:
    rng = np.random.default_rng(904)
    rig = outings.rig(rng, "engine", spacing_s=30.0)
    lived = join_scores.live(rig, outings.outing(rng, rig, 1.6, RUNS, Fault("stuck_open", 50000.0)))
    named = [at_s for at_s, kind in lived.raised if kind == "isolator_stuck_open"]
    assert named and RUNS[1][0] < named[0] <= RUNS[2][1]


def test_a_stuck_isolator_is_never_also_called_a_drain() -> None:
    rng = np.random.default_rng(905)
    rig = outings.rig(rng, "engine", spacing_s=30.0)
    lived = join_scores.live(rig, outings.outing(rng, rig, 2.6, RUNS, Fault("stuck_closed", 123000.0)))
    kinds = [kind for _, kind in lived.raised]
    assert "isolator_stuck_closed" in kinds and "starter_drain" not in kinds


def test_recorded_starts_are_sorted_as_they_were_made() -> None:
    said = {"healthy": "healthy", "weak": "weak", "borderline": "borderline", "fails-to-start": "failed"}
    assert all(verdict == said[truth] for truth, verdict in starts())
