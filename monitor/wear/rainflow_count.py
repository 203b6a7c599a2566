"""Depth of cycles, counted as they happen: the rainflow rule, one reversal at a time."""
from itertools import pairwise

from monitor.parameters import table
from monitor.replacing import dataclass

P = table("wear", "rainflow_count")
SMALLEST_FRAC = P.number("smallest_frac")
BINS = 10


@dataclass(frozen=True, slots=True)
class Rainflow:
    """Open reversals, and counts of closed cycles by depth (ten bins of ten points each)."""

    open_points: tuple[float, ...] = ()
    counts: tuple[float, ...] = (0.0,) * BINS


def extract(points: list[float]) -> tuple[list[float], list[tuple[float, float]]]:
    """Reversals still open and the (range, count) pairs that closed, by the rule of ASTM E1049-85.

    A range that contains the first point counts one half and frees that point; one that does not
    counts whole and frees both its points [ASTM E1049-85, 5.4.4].
    """
    closed: list[tuple[float, float]] = []
    while len(points) >= 3:
        last, previous = abs(points[-1] - points[-2]), abs(points[-2] - points[-3])
        if last < previous:
            break
        if len(points) == 3:
            closed.append((previous, 0.5))
            points = points[1:]
        else:
            closed.append((previous, 1.0))
            points = points[:-3] + points[-1:]
    return points, closed


def add(state: Rainflow, charge_frac: float) -> Rainflow:
    """One more value of charge."""
    points = state.open_points
    if not points:
        return Rainflow((charge_frac,), state.counts)
    turned = len(points) == 1 or (points[-1] - points[-2]) * (charge_frac - points[-1]) < 0
    if turned and abs(charge_frac - points[-1]) < SMALLEST_FRAC:
        return state
    kept = points if turned else points[:-1]
    if len(kept) < 2 or abs(charge_frac - kept[-1]) < abs(kept[-1] - kept[-2]):
        return Rainflow((*kept, charge_frac), state.counts)      # closes nothing, as nearly all do
    open_points, closed = extract([*kept, charge_frac])
    counts = list(state.counts)
    for depth, count in closed:
        counts[min(int(depth * BINS), BINS - 1)] += count
    return Rainflow(tuple(open_points), tuple(counts))


def count_with_halves(state: Rainflow) -> tuple[float, ...]:
    """The counts with every open range taken as half a cycle, as the standard ends a record."""
    counts = list(state.counts)
    for a, b in pairwise(state.open_points):
        counts[min(int(abs(b - a) * BINS), BINS - 1)] += 0.5
    return tuple(counts)
