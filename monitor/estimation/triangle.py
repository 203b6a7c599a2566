"""Symmetric matrices kept as their lower triangle, row by row, in one tuple: half the numbers, and each loop a single one."""
from collections.abc import Callable, Sequence
from functools import cache, lru_cache
from operator import itemgetter

from monitor.replacing import dataclass

Vector = tuple[float, ...]
Triangle = tuple[float, ...]
Pick = Callable[[Sequence[float]], Vector]


@dataclass(frozen=True, slots=True)
class Layout:
    """Where what stands in the triangle of n quantities.

    places: of each row of the whole matrix, the places of its numbers; rows: what picks them; diagonal: places of the variances.
    """

    places: tuple[tuple[int, ...], ...]
    rows: tuple[Pick, ...]
    diagonal: tuple[int, ...]


def place(i: int, j: int) -> int:
    """Where the covariance of two quantities stands."""
    return i * (i + 1) // 2 + j if i >= j else j * (j + 1) // 2 + i


@cache
def layout(n: int) -> Layout:
    """The places for n quantities."""
    places = tuple(tuple(place(i, j) for j in range(n)) for i in range(n))
    return Layout(places, tuple(_pick(row) for row in places), tuple(place(i, i) for i in range(n)))


@cache
def less_product(n: int) -> Callable[[Triangle, Sequence[float], Sequence[float]], Triangle]:
    """What gives a triangle of n quantities less the product of two vectors: each number p[i, j] as p[i, j] - a[i] * b[j].

    Written out number by number: over the 325 numbers of the lithium estimate a loop takes more than twice the time.
    """
    numbers = ", ".join(f"p[{place(i, j)}] - a{i} * b{j}" for i in range(n) for j in range(i + 1))
    lines = ["def less(p, a, b):", *(f"{', '.join(f'{name}{i}' for i in range(n))}, = {name}" for name in "ab"), f"return ({numbers},)"]
    made: dict[str, Callable[[Triangle, Sequence[float], Sequence[float]], Triangle]] = {}
    exec("\n    ".join(lines), {}, made)
    return made["less"]


@lru_cache(maxsize=32)      # some fifteen come up
def sum_of_rows(rows: tuple[int, ...], n: int) -> Callable[..., list[float]]:
    """What gives, of a triangle of n quantities and a factor for each of these rows, the sum of the rows times their factors.

    Written out likewise. The sum begins with the last row where their number is odd: the order in which it has always been taken.
    """
    order = range(len(rows)) if len(rows) % 2 == 0 else (len(rows) - 1, *range(len(rows) - 1))
    numbers = ", ".join(" + ".join(f"s{k} * p[{place(rows[k], column)}]" for k in order) for column in range(n))
    made: dict[str, Callable[..., list[float]]] = {}
    exec(f"def total(p, {', '.join(f's{k}' for k in range(len(rows)))}):\n    return [{numbers}]", {}, made)
    return made["total"]


def _pick(places: Sequence[int]) -> Pick:
    # a picker of one place would not return a tuple
    return itemgetter(*places) if len(places) > 1 else lambda numbers: (numbers[places[0]],)


def of_rows(rows: Sequence[Sequence[float]]) -> Triangle:
    """The triangle of a whole matrix."""
    return tuple(value for i, row in enumerate(rows) for value in row[:i + 1])
