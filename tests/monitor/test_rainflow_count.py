"""Rainflow counting against the standard's own series and the reference library."""
import pytest
import rainflow
from hypothesis import example, given
from hypothesis import strategies as st

from monitor.wear import rainflow_count as ours

#: ASTM E1049-85, figure 6
SERIES = [-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0]


def _count(series: list[float]) -> dict[float, float]:
    found: dict[float, float] = {}
    points: list[float] = []
    for value in series:
        points, closed = ours.extract([*points, value])
        for depth, count in closed:
            found[depth] = found.get(depth, 0) + count
    for a, b in zip(points, points[1:]):
        found[abs(b - a)] = found.get(abs(b - a), 0) + 0.5
    return found


def test_the_standards_own_series() -> None:
    assert _count(SERIES) == {3: 0.5, 4: 1.5, 6: 0.5, 8: 1.0, 9: 0.5}


def _reversals(values: list[float]) -> list[float]:
    kept: list[float] = []
    for value in values:
        if kept and value == kept[-1]:
            continue
        if len(kept) >= 2 and (kept[-1] > kept[-2]) == (value > kept[-1]):  # a product of tiny steps would be 0
            kept[-1] = value
        else:
            kept.append(value)
    return kept


@given(st.lists(st.integers(0, 20), min_size=3, max_size=60))
def test_any_series_counts_as_the_reference_library_counts_it(values: list[int]) -> None:
    reversals = _reversals([float(v) for v in values])
    if len(reversals) < 3:
        return
    theirs: dict[float, float] = {}
    for depth, count in rainflow.count_cycles(reversals):
        theirs[depth] = theirs.get(depth, 0) + count
    assert _count(reversals) == pytest.approx(theirs)


@given(st.lists(st.floats(0, 1), min_size=3, max_size=80))
@example([0.5, 5e-324, 0.0, 1.0])
def test_counted_ranges_sum_to_half_the_way_walked(values: list[float]) -> None:
    reversals = _reversals(values)
    found = _count(reversals)
    walked = sum(abs(b - a) for a, b in zip(reversals, reversals[1:]))
    assert sum(d * c for d, c in found.items()) == pytest.approx(walked / 2, abs=1e-9)


def test_a_saw_tooth_of_half_the_charge_is_cycles_of_depth_fifty() -> None:
    held = ours.Rainflow()
    for _ in range(10):
        for step in (*range(100, 50, -1), *range(50, 100)):
            held = ours.add(held, step / 100)
    counts = ours.count_with_halves(held)
    assert sum(counts[4:6]) == pytest.approx(10, abs=0.6)
    assert sum(counts[:4]) == sum(counts[6:]) == 0


def test_fridge_ripple_is_not_a_cycle() -> None:
    held = ours.Rainflow()
    for k in range(1000):
        held = ours.add(held, 0.7 + 0.004 * (k % 2))
    assert sum(ours.count_with_halves(held)) == 0
