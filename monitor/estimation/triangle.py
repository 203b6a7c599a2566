"""Symmetric matrices kept as their lower triangle, row by row, in one tuple: half the numbers, and each loop a single one."""
from collections.abc import Callable, Sequence
from functools import cache
from operator import itemgetter

from monitor.replacing import dataclass

Vector = tuple[float, ...]
Triangle = tuple[float, ...]
Pick = Callable[[Sequence[float]], Vector]


@dataclass(frozen=True, slots=True)
class Layout:
    """Where what stands in the triangle of n quantities.

    places: of each row of the whole matrix, the places of its numbers; rows: what picks them; first, second: what picks out of a
    vector the factor by the row and by the column of each number of the triangle; diagonal: places of the variances.
    """

    places: tuple[tuple[int, ...], ...]
    rows: tuple[Pick, ...]
    first: Pick
    second: Pick
    diagonal: tuple[int, ...]


def place(i: int, j: int) -> int:
    """Where the covariance of two quantities stands."""
    return i * (i + 1) // 2 + j if i >= j else j * (j + 1) // 2 + i


@cache
def layout(n: int) -> Layout:
    """The places for n quantities."""
    pairs = [(i, j) for i in range(n) for j in range(i + 1)]
    places = tuple(tuple(place(i, j) for j in range(n)) for i in range(n))
    return Layout(places, tuple(_pick(row) for row in places), _pick([i for i, _ in pairs]), _pick([j for _, j in pairs]),
                  tuple(place(i, i) for i in range(n)))


def _pick(places: Sequence[int]) -> Pick:
    # a picker of one place would not return a tuple
    return itemgetter(*places) if len(places) > 1 else lambda numbers: (numbers[places[0]],)


def of_rows(rows: Sequence[Sequence[float]]) -> Triangle:
    """The triangle of a whole matrix."""
    return tuple(value for i, row in enumerate(rows) for value in row[:i + 1])
