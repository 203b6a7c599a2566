"""What health shows of a season: capacity week by week, the battery's own, and how far its resistance has grown.

Widths in shares of the truth. Weeks of one vehicle are much alike, so that one vehicle of nine weighs a ninth of the coverage.
"""
import pytest

from tests.intervals import seasons
from tests.intervals.bounds import Bounds

FIGURES = {
    "capacity": Bounds(60, 0.90, (0.38, 0.515)),
    "own capacity": Bounds(26, 0.85, (0.515, 0.695)),
    "growth": Bounds(40, 0.93, (0.155, 0.21)),
}


@pytest.mark.parametrize("figure", FIGURES)
def test_a_season(figure: str) -> None:
    FIGURES[figure].check(seasons.figures()[figure])
