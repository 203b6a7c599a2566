"""Rest curves of iron phosphate as data: the makes measured, and the one curve that stands for them together.

Each file in curves/ is one make, four cells in series at 25 °C: middle of the charge and discharge branch and half the gap
between them, against charge. Makes agree within 10 to 20 mV on the flats; they differ in where graphite's step stands
and how steeply it ends. The curve for them all is therefore the mean after their ends and the step have been laid over
each other along the charge axis; what they differ in along it is the estimator's to find.
"""
from bisect import bisect_left, bisect_right
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import pairwise

from monitor import parameters

#: A make of published electrode curves, unlike every cell measured; it stands beside them, never among them.
PUBLISHED = "lfp-published"
P = parameters.table("battery", "rest_curves")
LOW, HIGH, STEPS = P.number("low_frac"), P.number("high_frac"), P.count("steps")
PER_UNIT = STEPS / (HIGH - LOW)
#: Voltages at which the ends of the makes are laid over each other.
BOTTOM_V, TOP_RISE_V = P.number("bottom_v"), P.number("top_rise_v")
#: Above this charge what the middle rises by is iron phosphate's; graphite's goes on nearly level.
CUT, CUT_SLOPE_V = P.number("cut_frac"), P.number("cut_slope_v")
BOTTOM_REACH, STEP, STEP_REACH, JOINED = (
    P.number("bottom_reach_frac"), P.number("step_frac"), P.number("step_reach_frac"), P.number("joined_frac"))
#: Half the gap between branches two hours after the current stopped.
_REST_GAP = P.numbers("rest_gap")

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A function of charge on an even grid: quick to look up."""

    values: tuple[float, ...]

    def at(self, x: float) -> float:
        """Its value; straight on beyond the ends."""
        place = (x - LOW) * PER_UNIT
        i, v = int(place), self.values
        if not 0 <= i < STEPS:
            i = 0 if i < 0 else STEPS - 1
        return v[i] + (place - i) * (v[i + 1] - v[i])

    def inverse(self, value: float) -> float:
        """Where it reaches a value; it must not fall."""
        i = min(max(bisect_left(self.values, value), 1), STEPS)
        low, high = self.values[i - 1], self.values[i]
        return LOW + (HIGH - LOW) / STEPS * (i - 1 + min(max((value - low) / max(high - low, 1e-6), -1.0), 1.0))


@dataclass(frozen=True, slots=True)
class Family:
    """A rest curve of four cells at 25 °C, middle of both branches [V]."""

    name: str
    graphite: Table     # against graphite's filling
    top: Table          # what iron phosphate adds, against charge
    whole: Table        # their sum
    rest_gap: Table     # half the gap two hours after current stopped


def table(function: Callable[[float], float]) -> Table:
    """A function put on the grid."""
    return Table(tuple(function(LOW + (HIGH - LOW) / STEPS * i) for i in range(STEPS + 1)))


def line(points: Points, x: float) -> float:
    """Value of a row of straight lines, straight on beyond its ends."""
    i = min(max(bisect_right(points, (x,)), 1), len(points) - 1)
    (x0, y0), (x1, y1) = points[i - 1], points[i]
    return y0 + (y1 - y0) * (x - x0) / (x1 - x0)


@cache
def makes() -> dict[str, Points]:
    """Middle of the branches [V] against charge of every make there is a file of."""
    found = {}
    for file in sorted(files("monitor.battery").joinpath("curves").iterdir(), key=lambda f: f.name):
        if file.name.endswith(".csv"):
            rows = [row.split(",") for row in file.read_text().splitlines() if row and not row.startswith("#")][1:]
            found[file.name.removesuffix(".csv")] = tuple((float(z), float(v)) for z, v, _ in rows)
    return found


def crossing(points: Points, volts: float, begin: float = 0.0) -> float:
    """The charge at which a curve first reaches a voltage.

    points: the curve, charge and voltage; volts: the voltage [V]; begin: the charge it is followed from.
    """
    for (z0, v0), (z1, v1) in pairwise(points):
        if z1 > begin and v0 <= volts < v1:
            return z0 + (z1 - z0) * (volts - v0) / (v1 - v0)
    return points[-1][0]


def _graphite(points: Points) -> Callable[[float], float]:
    at_cut = line(points, CUT)
    return lambda x: line(points, x) if x <= CUT else at_cut + CUT_SLOPE_V * (x - CUT)


def _top(points: Points) -> Callable[[float], float]:
    graphite = _graphite(points)
    return lambda y: line(points, y) - graphite(y) if y > CUT else 0.0


def _mean(values: list[float]) -> float:
    return sum(values) / len(values)


def step_frac(points: Points) -> float:
    """The charge at which graphite's second step stands: half-way between the flats."""
    low, high = _mean([line(points, z) for z in (0.45, 0.5, 0.55)]), _mean([line(points, z) for z in (0.82, 0.85, 0.88)])
    return crossing(points, 0.5 * (low + high), 0.5)


@cache
def pool_makes(without: tuple[str, ...] = ()) -> Family:
    """The curve that stands for all makes measured, less those named."""
    curves = [points for name, points in makes().items() if name != PUBLISHED and name not in without]
    # half the makes end short of an end, where rests were not taken
    low = [c for c in curves if c[0][0] <= 0.02]
    high = [c for c in curves if c[-1][0] >= 0.985]
    bottoms, steps = [crossing(c, BOTTOM_V) for c in low], [step_frac(c) for c in curves]
    bottom, step = _mean(bottoms), _mean(steps)
    graphites = [_graphite(c) for c in curves]
    tops = [_top(c) for c in high]
    rises = [next(CUT + 0.0005 * k for k in range(400) if top(CUT + 0.0005 * k) >= TOP_RISE_V) for top in tops]
    rise = _mean(rises)

    def graphite(x: float) -> float:
        at_end, at_step = min(max(1.0 - x / BOTTOM_REACH, 0.0), 1.0), max(1.0 - abs(x - STEP) / STEP_REACH, 0.0)
        if x < JOINED:
            return _mean([line(c, x + (b - bottom) * at_end) for c, b in zip(low, bottoms, strict=True)])
        values = [g(x + (s - step) * at_step + ((crossing(c, BOTTOM_V) - bottom) * at_end if c[0][0] <= 0.02 else 0.0))
                  for c, g, s in zip(curves, graphites, steps, strict=True)]
        return _mean(values)

    def top(y: float) -> float:
        return max(_mean([t(y + r - rise) for t, r in zip(tops, rises, strict=True)]), 0.0) if y > CUT else 0.0

    return _family("measured", graphite, top)


@cache
def published_curves() -> Family:
    """The published electrode curves, with the rise to full of the makes measured: how steep it is told of no battery."""
    return _family(PUBLISHED, _graphite(makes()[PUBLISHED]), pool_makes().top.at)


@cache
def halfway(without: tuple[str, ...] = ()) -> Family:
    """Half-way between the makes measured, less those named, and the published curves."""
    one, other = pool_makes(without), published_curves()
    at_half = Table(tuple(0.5 * (a + b) for a, b in zip(one.graphite.values, other.graphite.values, strict=True)))
    return _family("half-way", at_half.at, one.top.at)


@cache
def single(name: str) -> Family:
    """The curve of one make alone."""
    points = makes()[name]
    graphite = _graphite(points)
    return _family(name, graphite, lambda y: max(line(points, y) - graphite(y), 0.0) if y > CUT else 0.0)


def _family(name: str, graphite: Callable[[float], float], top: Callable[[float], float]) -> Family:
    rising = list(table(lambda z: graphite(z) + top(z)).values)
    for i in range(1, len(rising)):
        rising[i] = max(rising[i], rising[i - 1] + 1e-6)
    gap = table(lambda z: line(_REST_GAP, min(max(z, 0.0), 1.0)))
    return Family(name, table(graphite), table(top), Table(tuple(rising)), gap)
