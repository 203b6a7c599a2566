"""Years of life left beside batteries that live by rules of their own; widths in shares of the true years.

The range is wide by what published lives of off-grid batteries taught (pace_lead_sigma_ln, and what counts as full), and rightly holds
nearly all of these.
"""
import pytest

from tests.intervals import batteries_lived
from tests.intervals.bounds import Bounds

FIGURES = {"lead": Bounds(40, 0.95, (1.8, 2.6)), "lithium": Bounds(12, 0.92, (1.12, 1.55))}


@pytest.mark.parametrize("kind", FIGURES)
def test_years_left(kind: str) -> None:
    FIGURES[kind].check(batteries_lived.years_left()[kind])
