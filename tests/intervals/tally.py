"""What intervals did beside the truth: how often they held it, how wide they were, how wide the errors were."""
from dataclasses import dataclass, field
from math import sqrt

from monitor.findings import Answer, Estimate


@dataclass
class Tally:
    """Rows of (truth, value, low, high); everything is counted in units of `unit` (a capacity, a resistance)."""

    rows: list[tuple[float, float, float, float]] = field(default_factory=list)

    def add(self, truth: float, found: Answer, unit: float = 1.0) -> None:
        """One estimate beside its truth; what is not known yet is left out."""
        if isinstance(found, Estimate):
            self.rows.append((truth / unit, found.value / unit, found.low / unit, found.high / unit))

    @property
    def count(self) -> int:
        return len(self.rows)

    @property
    def coverage(self) -> float:
        """Share of intervals that hold the truth."""
        return sum(low <= truth <= high for truth, _, low, high in self.rows) / len(self.rows)

    @property
    def width(self) -> float:
        """Mean width."""
        return sum(high - low for _, _, low, high in self.rows) / len(self.rows)

    @property
    def rms(self) -> float:
        """Root of the mean squared error of the value."""
        return sqrt(sum((value - truth) ** 2 for truth, value, _, _ in self.rows) / len(self.rows))

    @property
    def near(self) -> float:
        """Share of truths within the inner half of their interval: of a true 95 % interval of a Gaussian about 0.67."""
        return sum(abs(truth - value) <= ((high - value) if truth > value else (value - low)) / 2
                   for truth, value, low, high in self.rows) / len(self.rows)

    def __str__(self) -> str:
        return (f"{self.count} intervals: coverage {self.coverage:.3f}, width {self.width:.4g}, rms error {self.rms:.4g}, "
                f"within the inner half {self.near:.3f}")
