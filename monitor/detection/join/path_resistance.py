"""Resistance of isolator and cable between the batteries, from the current that starts or stops with the join."""
from functools import lru_cache
from math import sqrt
from typing import NamedTuple

from monitor.detection.join.points import Point
from monitor.findings import NEVER_S, Z95, Answer, Estimate, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/join", "path_resistance")
LEAST_STEP_A = P.number("least_step_a")
PRIOR_OHM, PRIOR_SIGMA_OHM = P.number("prior_ohm"), P.number("prior_sigma_ohm")
METER_SIGMA_V = P.number("meter_sigma_v")
EDGE_SIGMA_V, EDGE_SIGMA_A, EDGE_SIGMA_FRAC = P.number("edge_sigma_v"), P.number("edge_sigma_a"), P.number("edge_sigma_frac")
SAME_A = P.number("same_a")
PARTED_V = P.number("parted_v")
OPEN_NOTE_S = P.number("open_note_s")
LEAST_IF_THROTTLED = P.count("least_if_throttled")
BASELINE_EDGES, RECENT_EDGES = P.count("baseline_edges"), P.count("recent_edges")
OFFSET_EDGES = P.count("offset_edges")
BASELINE_LEAST, RECENT_LEAST = P.count("baseline_least"), P.count("recent_least")
GROWN_RATIO = P.number("grown_ratio")
HOT_W, HOT_RATIO, HOT_LOW_RATIO = P.number("hot_w"), P.number("hot_ratio"), P.number("hot_low_ratio")
POINTS, LONGEST_S, TURNS = P.count("points"), P.number("longest_s"), P.count("turns")
SAME_PART, BEFORE_PART, BEFORE_A, AFTER_PART = P.number("same_part"), P.number("before_part"), P.number("before_a"), P.number("after_part")
DRIVEN_V = P.number("driven_v")
COLLAPSE_V, COLLAPSE_PART = P.number("collapse_v"), P.number("collapse_part")
USUAL_OHM = P.number("usual_ohm")


class Whole(NamedTuple):
    """A point at which everything was measured."""

    at_s: float
    starter_v: float
    house_v: float
    house_a: float


@dataclass(frozen=True, slots=True)
class PathResistance:
    """The edges measured so far, as (seconds, amperes through the path, volts across it)."""

    baseline: tuple[tuple[float, float, float], ...] = ()
    recent: tuple[tuple[float, float, float], ...] = ()
    edges: int = 0
    largest_a: float = 0.0
    last_s: float = NEVER_S
    open_s: float = NEVER_S         # when the isolator was last open


def step(path: PathResistance, last: tuple[Point, ...], isolator: str, house_before_a: float | None = None) -> PathResistance:
    """The path after one more point, given the last five: looks for an edge in the middle of them.

    isolator is its state now: only where it was open before, or is open after, has all of the
    current through the path come or gone. house_before_a is the house current before the run: a join
    that begins at another current was joined already. A relay that holds on after the engine goes on
    passing current, so an end counts only where the voltages part.

    path: what was found so far; last: the last five points; isolator: open, closed or unknown; house_before_a: house current before
    the run [A], None: not known.
    """
    if isolator == "open" and last[-1].at_s - path.open_s > OPEN_NOTE_S:
        path = replace(path, open_s=last[-1].at_s)
    if len(last) < POINTS or last[0].at_s <= path.last_s:
        return path
    _, before, middle, after, _ = last
    now, then = after.house_a, before.house_a
    if now is None or then is None or abs(now - then) < LEAST_STEP_A:
        return path
    seen = tuple(Whole(p.at_s, p.starter_v, p.house_v, p.house_a) for p in last if p.house_v is not None and p.house_a is not None)
    if len(seen) < len(last):
        return path
    edge = _edge(*seen)
    alone_a = min(now, then)
    like_before = house_before_a is None or alone_a - house_before_a < SAME_A + SAME_PART * abs(now - then)
    if now > then:
        apart = path.open_s > last[0].at_s - OPEN_NOTE_S and like_before and (
            house_before_a is None or house_before_a - alone_a < SAME_A + SAME_PART * (now - then))
    else:       # loads may have come meanwhile, but a current that flows on comes through the path
        apart = isolator != "closed" and like_before and abs(seen[-1].starter_v - seen[-1].house_v) > PARTED_V
    if edge is None or not apart:
        return path
    baseline, recent = path.baseline, (*path.recent, edge)[-RECENT_EDGES:]
    if len(baseline) < BASELINE_EDGES:
        baseline = (*baseline, edge)
    return PathResistance(baseline, recent, path.edges + 1, max(path.largest_a, edge[1]), middle.at_s, path.open_s)


def _edge(first: Whole, second: Whole, _: Whole, fourth: Whole, fifth: Whole) -> tuple[float, float, float] | None:
    """The edge in the middle of five points: current that came or went with the join, and the voltage across it.

    Loads and sun that stay the same cancel in the change of current, so neither is needed.
    """
    if fifth.at_s - first.at_s > LONGEST_S:
        return None
    before_a, before_v = (first.house_a + second.house_a) / 2, (first.starter_v + second.starter_v) / 2
    change = fourth.house_a - before_a
    if abs(change) < LEAST_STEP_A or abs(second.house_a - first.house_a) > BEFORE_PART * abs(change) + BEFORE_A:
        return None
    if abs(fifth.house_a - fourth.house_a) > AFTER_PART * abs(change):
        return None
    starter_change = fourth.starter_v - before_v
    if change > 0 and fourth.starter_v > DRIVEN_V:
        across = fourth.starter_v - fourth.house_v      # closed now
        if starter_change < COLLAPSE_V and abs(across) > COLLAPSE_PART * abs(second.starter_v - second.house_v):
            return None                                 # nothing collapsed: another charger came on
        # The voltages of the point at the edge may be averages over it; those of the next are all of the join.
        return fifth.at_s, fifth.house_a - before_a, fifth.starter_v - fifth.house_v
    if change < 0 and before_v > DRIVEN_V and starter_change < -COLLAPSE_V:
        return second.at_s, -change, before_v - (first.house_v + second.house_v) / 2
    return None


def estimate(path: PathResistance, throttled: bool = False) -> Answer:
    """Resistance of the path [ohm] from the last edges; throttled: the alternator is believed to be turned up and down."""
    if not path.recent:
        return NotYet("it is measured when the isolator next closes or opens with more than 6 A flowing")
    if throttled and len(path.recent) < LEAST_IF_THROTTLED:
        return NotYet("the alternator is turned up and down while the engine runs, and such steps look like a join; "
                      "a few drives without that would let it be measured")
    value, sigma = _fit(path.baseline, path.recent)
    if value <= 0:
        return NotYet("the edges seen so far do not fit a plain path")
    return Estimate(value, max(0.0, value - Z95 * sigma), value + Z95 * sigma, "measured")


def likely_ohm(path: PathResistance) -> float:
    """The middle of what the path may be [ohm], before it is measured as well."""
    return _fit(path.baseline, path.recent)[0] if path.recent else PRIOR_OHM


def growth(path: PathResistance) -> tuple[float, float, float, float] | None:
    """Ratio of now to the vehicle's first edges with its lower 95 % bound, ohms now and then; None: too few."""
    later = tuple(e for e in path.recent if e not in path.baseline)
    if len(path.baseline) < BASELINE_LEAST or len(later) < RECENT_LEAST:
        return None
    first = path.baseline
    now, sigma_now = _fit(first, later)
    then, sigma_then = _fit(first, first)
    if then <= 0 or now <= 0:
        return None
    ratio = now / then
    # The meters' common error moves both alike; what is left is the scatter of the edges.
    spread = sqrt((sigma_now / now) ** 2 + (sigma_then / then) ** 2)
    return ratio, ratio * (1 - Z95 * spread), now, then


def has_grown(path: PathResistance) -> bool:
    found = growth(path)
    if found is None:
        return False
    ratio, low, now, then = found
    heat = (now - then) * path.largest_a**2
    return low > GROWN_RATIO or (ratio > HOT_RATIO and low > HOT_LOW_RATIO and heat > HOT_W)


@lru_cache      # edges are few, and asked for each minute
def _fit(first: tuple[tuple[float, float, float], ...],
         chosen: tuple[tuple[float, float, float], ...]) -> tuple[float, float]:
    """Resistance of the chosen edges and its sigma; the meters' difference comes from the vehicle's first ones."""
    offset, offset_sigma = _offset(first[:OFFSET_EDGES])
    value, s_xx = PRIOR_OHM, 0.0
    for turn in range(TURNS):       # edges that lie far off the rest (a load switched with the join) lose their weight
        s_xx, s_xy = 1 / PRIOR_SIGMA_OHM**2, PRIOR_OHM / PRIOR_SIGMA_OHM**2
        for _, amps, volts in chosen:
            sigma = _edge_sigma(amps)
            off = abs(volts - offset - value * amps) / sigma if turn else 0.0
            weight = (1.0 if off < 2 else 2 / off) / sigma**2
            s_xx += amps * amps * weight
            s_xy += amps * (volts - offset) * weight
        value = s_xy / s_xx
    mean_amps = sum(e[1] for e in chosen) / len(chosen)
    return value, sqrt(1 / s_xx + (offset_sigma / mean_amps) ** 2)


def _offset(edges: tuple[tuple[float, float, float], ...]) -> tuple[float, float]:
    """The two voltmeters' difference [V] and its sigma: what the drop would be at no current."""
    a = 1 / METER_SIGMA_V**2
    b = c = d = e = 0.0
    c += 1 / PRIOR_SIGMA_OHM**2
    e += PRIOR_OHM / PRIOR_SIGMA_OHM**2
    for _, amps, volts in edges:
        w = 1 / _edge_sigma(amps) ** 2
        a += w
        b += w * amps
        c += w * amps * amps
        d += w * volts
        e += w * amps * volts
    det = a * c - b * b
    return (d * c - b * e) / det, sqrt(c / det)


def _edge_sigma(amps: float) -> float:
    return sqrt(EDGE_SIGMA_V**2 + (USUAL_OHM * EDGE_SIGMA_A) ** 2 + (USUAL_OHM * EDGE_SIGMA_FRAC * amps) ** 2)
