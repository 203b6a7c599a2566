"""The check that all of these share: coverage from below, width from both sides."""
from dataclasses import dataclass

from tests.intervals.tally import Tally


@dataclass(frozen=True, slots=True)
class Bounds:
    """What an honest interval does on these vehicles.

    count : so many estimates at least
    coverage : so many of them hold the truth at least
    width : the mean width lies between these: some 15 to 25 % less and more than today's, so that 1.2 or 3.5
        sigma in place of 1.96 are seen. Whoever makes an estimate better moves them, with the coverage that allows it
    """

    count: int
    coverage: float
    width: tuple[float, float]

    def check(self, tally: Tally) -> None:
        """Raises AssertionError with all figures where one is out of its bounds."""
        assert tally.count >= self.count, str(tally)
        assert tally.coverage >= self.coverage, f"they miss the truth too often: {tally}"
        low, high = self.width
        assert tally.width <= high, f"wider than it takes: {tally}"
        assert tally.width >= low, f"surer than before, is that earned? {tally}"
