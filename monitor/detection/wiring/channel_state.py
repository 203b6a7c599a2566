"""A channel of an instrument that is at its limit, or noisier than it used to be."""
from math import log

from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/wiring", "channel_state")
RANGE_AT_2, RANGE_PER_LN, SECOND_DIFFERENCE = P.number("range_at_2"), P.number("range_per_ln"), P.number("second_difference")
OLD_S, RANGE = P.number("old_s"), {"v": P.number("range_v"), "a": P.number("range_a")}
RISE_A, JUMP_V = P.number("rise_a"), P.number("jump_v")
LIMIT_S, FORGOTTEN_S = P.number("limit_s"), P.number("forgotten_s")
TIMES, FLOOR, HOURS = P.number("times"), {"v": P.number("floor_v"), "a": P.number("floor_a")}, P.count("hours")
LEARN_HOURS = P.count("learn_hours")
LEAST_BLOCKS, NOISE_HOURS, GROWN_TIMES = P.count("least_blocks"), P.number("noise_hours"), P.number("grown_times")


@dataclass(frozen=True, slots=True)
class Limit:
    """The extremes of a channel, and how long it has been exactly there while its companion moved."""

    low: float = 1e9
    high: float = -1e9
    begun_s: float = 0.0
    run_value: float = 0.0
    run_s: float = 0.0              # 0: not at an extreme
    other_low: float = 0.0
    other: float = 0.0              # the companion's latest
    rose: bool = False              # the companion has risen so in this run
    fell: bool = False              # and fallen so
    stuck_s: float = 0.0
    stuck_at_s: float = 0.0
    stuck_value: float = 0.0


def update_limit(state: Limit, at_s: float, span_s: float, low: float, high: float, other: float | None, unit: str) -> Limit:
    """A minute more of a channel: its lowest and highest reading, and the mean of its companion.

    state: what was kept after the minute before; at_s: the log's time [s]; span_s: how long it lasted [s]; low: lower
    end; high: upper end; other: mean of its companion; unit: its unit.
    """
    h = state
    if low < h.low or high > h.high:
        least, most = min(low, h.low), max(high, h.high)
        begun = h.begun_s if h.low < h.high else at_s
        # what goes beyond where it seemed to stick shows that it did not
        stuck = 0.0 if h.stuck_s and not least <= h.stuck_value <= most or h.stuck_value not in (least, most) else h.stuck_s
        return replace(h, low=least, high=most, begun_s=begun, run_s=0.0, stuck_s=stuck)
    if low != high or (low != h.low and low != h.high) or other is None:
        return h if not h.run_s else replace(h, run_s=0.0)
    if at_s - h.begun_s < OLD_S or h.high - h.low < RANGE[unit]:
        return h
    if not h.run_s or low != h.run_value:
        return replace(h, run_value=low, run_s=span_s, other_low=other, other=other, rose=False, fell=False)
    # A steady load or charger lets the voltage run one way only, to its knee or its end; loads that come and go move it both ways.
    rose = h.rose or other - (h.other_low if unit == "v" else h.other) >= (RISE_A if unit == "v" else JUMP_V)
    fell = h.fell or unit == "v" or h.other - other >= JUMP_V
    moved, already = rose and fell, h.rose and h.fell
    run, stuck, stuck_at, value = h.run_s + span_s, h.stuck_s, h.stuck_at_s, h.stuck_value
    if moved:
        if at_s - stuck_at > FORGOTTEN_S or value != low:
            stuck = 0.0
        stuck, stuck_at, value = stuck + (span_s if already else run), at_s, low
    return replace(h, run_s=run, other_low=min(h.other_low, other), other=other, rose=rose, fell=fell, stuck_s=stuck, stuck_at_s=stuck_at,
                   stuck_value=value)


def at_limit(state: Limit, at_s: float) -> bool:
    """Whether the channel is cut off at an extreme."""
    return state.stuck_s >= LIMIT_S and at_s - state.stuck_at_s < FORGOTTEN_S


@dataclass(frozen=True, slots=True)
class Noise:
    """Scatter of a channel: what it was, the present hour's, and for how many hours it has been more."""

    usual: float = 0.0              # one standard deviation
    learnt_h: int = 0
    hour_least: float = 1e9         # the calmest ten minutes of this hour
    hour_explained: float = 1e9     # and the least that its companion would explain
    blocks: int = 0
    grown_h: int = 0
    now: float = 0.0


def scatter(count: int, low: float, high: float) -> float:
    """One standard deviation from the range of some readings in a minute.

    count: how many; low: lower end; high: upper end.

    >>> round(scatter(60, 0.0, 4.64), 2)
    1.0
    """
    return (high - low) / (RANGE_AT_2 + RANGE_PER_LN * log(count / 2.0)) if count > 1 else 0.0


def scatter_of_singles(before: float, middle: float, after: float) -> float:
    """One standard deviation from three single readings in a row: what a straight line through them leaves.

    before, middle, after : the readings, all in the channel's unit

    >>> round(scatter_of_singles(12.0, 12.1, 12.0), 3)
    0.102
    """
    return abs(before - 2.0 * middle + after) / SECOND_DIFFERENCE


def is_noisy(state: Noise, sigma: float, explained: float, unit: str) -> Noise:
    """Ten minutes more: their mean scatter, and what of it the companion's scatter would explain.

    state: what was kept after the minute before; sigma: one sigma; explained: what of it the companion explains; unit:
    its unit.
    """
    least, known = min(state.hour_least, sigma), min(state.hour_explained, explained)
    if state.blocks < LEAST_BLOCKS:
        return replace(state, hour_least=least, hour_explained=known, blocks=state.blocks + 1)
    if state.learnt_h < LEARN_HOURS:
        usual = state.usual + (least - state.usual) / (state.learnt_h + 1)
        return Noise(usual, state.learnt_h + 1, now=least)
    more = least > max(TIMES * state.usual, FLOOR[unit])
    usual = state.usual if more else state.usual + (least - state.usual) / NOISE_HOURS
    return Noise(usual, state.learnt_h, grown_h=state.grown_h + 1 if more and least > GROWN_TIMES * known else 0, now=least)


def grow_noise(state: Noise) -> bool:
    """Whether the noise has been more than usual for hours."""
    return state.grown_h >= HOURS
