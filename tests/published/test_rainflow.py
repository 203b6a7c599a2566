"""Depth of cycles as the health tracker counts it, a moment at a time, against the worked example of the standard."""
import pytest

from monitor.wear import rainflow_count

#: ASTM E1049-85, figure 6: the series, and its table of counts by range.
SERIES = (-2.0, 1.0, -3.0, 5.0, -1.0, 3.0, -4.0, 4.0, -2.0)
COUNTS = {3: 0.5, 4: 1.5, 6: 0.5, 8: 1.0, 9: 0.5}
#: Each unit of the series is a little more than ten points of charge, so that every range lies inside its bin.
UNIT_FRAC = 0.1001


def _counted(series: list[float]) -> dict[int, float]:
    """Counts by range in units of the series, open halves included."""
    held = rainflow_count.Rainflow()
    for value in series:
        held = rainflow_count.add(held, 0.45 + UNIT_FRAC * value)
    return {size: count for size, count in enumerate(rainflow_count.count_with_halves(held)) if count}


def test_the_standards_example_is_counted_as_its_table_has_it() -> None:
    assert _counted(list(SERIES)) == COUNTS


@pytest.mark.parametrize("times", [2, 5])
def test_a_value_that_is_read_again_changes_no_count(times: int) -> None:
    """Also a test of the public rainflow library: a series with every value repeated counts as the series."""
    assert _counted([value for value in SERIES for _ in range(times)]) == COUNTS


def test_readings_on_the_way_between_two_turns_change_no_count() -> None:
    ramps = [a + (b - a) * k / 20 for a, b in zip(SERIES, SERIES[1:], strict=False) for k in range(20)]
    assert _counted([*ramps, SERIES[-1]]) == COUNTS


def test_ranges_sum_to_half_the_way_walked() -> None:
    """23 of 46 (arithmetic on the example)."""
    walked = sum(abs(b - a) for a, b in zip(SERIES, SERIES[1:], strict=False))
    assert sum(size * count for size, count in _counted(list(SERIES)).items()) == pytest.approx(walked / 2)
