"""A load that goes round the shunt: voltage that steps without current, and charging that fills nothing."""
from math import exp

from monitor.battery.label import Battery
from monitor.findings import NEVER_S
from monitor.parameters import table
from monitor.replacing import dataclass, replace

P = table("detection/wiring", "bypass")
STEP_V, FLAT_FRAC, STILL_A = P.number("step_v"), P.number("flat_frac"), P.number("still_a")
REST_A = P.number("rest_a")
NOISE_TIMES, JOINED_FRAC = P.number("noise_times"), P.number("joined_frac")
FED_FRAC, FED_V, FED_APART_V = P.number("fed_frac"), P.number("fed_v"), P.number("fed_apart_v")
ZERO_OHM = P.number("zero_ohm")
CHARGER_V = P.by_chemistry("charger_v")
EMPTY_V = P.by_chemistry("empty_v")
PAIR_S = P.number("pair_s")
NIGHT, BY_DAY = P.numbers("night"), P.number("by_day")
PAIRS, MEMORY_S = P.number("pairs"), P.number("memory_s")
BLOCKS = P.count("blocks")
FILL_FRAC = P.number("fill_frac")
FILL_A = P.number("fill_a")
KEEP_FRAC = P.number("keep_frac")
IDLE_TIMES = P.count("idle_times")
SINK_V = P.by_chemistry("sink_v")
FILL_V = P.by_chemistry("fill_v")
RING, SKIP_S, PAIR_LOW = P.count("ring"), P.number("skip_s"), P.number("pair_low")
PAIR_HIGH, MEAN_PAIRS = P.number("pair_high"), P.number("mean_pairs")


@dataclass(frozen=True, slots=True)
class Bypass:
    """Pairs of steps without a current so far, the one that waits, and charging that lifted nothing."""

    on_at_s: float = NEVER_S
    on_v: float = 0.0                   # of the voltage step that waits for its other half
    skip_until_s: float = 0.0
    pairs: float = 0.0
    pairs_at_s: float = 0.0
    pair_v: float = 0.0                 # mean size
    blocks: tuple[float, ...] = ()      # volts and amperes of the last ten-minute means
    idle_a: float = 0.0                 # what such charging was shown to be, 0: none seen
    idle_at_s: float = 0.0
    idle_times: int = 0


def add_minute(state: Bypass, at_s: float, ring: tuple[float, ...], battery: Battery, scatter_v: float, hour: float | None,
           starter_ring: tuple[float, ...] = ()) -> Bypass:
    """The state with a minute's step of the voltage, where the shunt saw none: a pair of steps, down and up again, is a load beside it.

    A step that the starter battery makes as well is none: joined to it, another load or another battery moves the voltage. It
    makes a fifth of it or less where it is the fuller one and feeds the house loads through a relay that holds on.

    state: what was kept after the minute before; at_s: the log's time [s]; ring: volts and amperes of the last six minutes, in
    turn; battery: its label; scatter_v: of single readings [V]; hour: local clock hour, None: not known; starter_ring: volts of
    the starter battery in the same minutes, fewer where they were not measured.
    """
    if len(ring) < RING or at_s < state.skip_until_s:
        return state
    v0, a0, v1, a1, v2, a2, v3, a3, v4, a4, v5, a5 = ring
    step = (v4 + v5 - v0 - v1) / 2
    size = step if step > 0 else -step
    if (
        size < STEP_V or size < NOISE_TIMES * scatter_v or abs(v1 - v0) > FLAT_FRAC * size or abs(v5 - v4) > FLAT_FRAC * size
        or max(v0, v1, v2, v3, v4, v5) > CHARGER_V[battery.lead_acid] or min(v0, v1, v2, v3, v4, v5) < EMPTY_V[battery.lead_acid]
    ):
        return state
    if len(starter_ring) == RING // 2:
        s0, s1, _, _, s4, s5 = starter_ring
        same = (s4 + s5 - s0 - s1) / 2 / step
        early, late = (s0 + s1 - v0 - v1) / 2, (s4 + s5 - v4 - v5) / 2
        loaded_apart, apart = (early, late) if step > 0 else (late, early)
        fed = same > FED_FRAC and same * size > FED_V and loaded_apart > 0 and -FED_APART_V < apart < FED_APART_V
        if same > JOINED_FRAC or fed:
            return state
    most = max(a0, a1, a2, a3, a4, a5)
    if most > REST_A or most - min(a0, a1, a2, a3, a4, a5) > STILL_A:
        return state
    with_it_a = (a4 + a5 - a0 - a1) / 2 * (1.0 if step > 0 else -1.0)
    if size < ZERO_OHM * with_it_a:
        return state
    night = hour is not None and (hour >= NIGHT[0] or hour < NIGHT[1])
    return _add_step(state, at_s, step, size, 1.0 if night else BY_DAY)


def _add_step(state: Bypass, at_s: float, step_v: float, size_v: float, worth: float) -> Bypass:
    if step_v < 0:
        return replace(state, on_at_s=at_s, on_v=size_v, skip_until_s=at_s + SKIP_S)
    if not (at_s - state.on_at_s < PAIR_S and PAIR_LOW * state.on_v < size_v < PAIR_HIGH * state.on_v):
        return replace(state, skip_until_s=at_s + SKIP_S)
    pairs = pairs_now(state, at_s) + worth
    return replace(state, pairs=pairs, pairs_at_s=at_s, pair_v=state.pair_v + (size_v - state.pair_v) / min(max(pairs, 1.0), MEAN_PAIRS),
                   on_at_s=NEVER_S, on_v=0.0, skip_until_s=at_s + SKIP_S)


def add_block(state: Bypass, at_s: float, voltage_v: float, current_a: float, battery: Battery) -> Bypass:
    """The means of ten minutes more.

    state: what was kept after the minute before; at_s: the log's time [s]; voltage_v: at its posts [V]; current_a: into the
    battery [A]; battery: its label.
    """
    if not EMPTY_V[battery.lead_acid] < voltage_v < FILL_V[battery.lead_acid]:
        return state if not state.blocks else replace(state, blocks=())
    blocks = (*state.blocks[-2 * (BLOCKS - 1):], voltage_v, current_a)
    if len(blocks) < 2 * BLOCKS:
        return replace(state, blocks=blocks)
    amps, third = blocks[1::2], BLOCKS // 3
    mean = sum(amps) / BLOCKS
    early, late = sum(amps[:third]) / third, sum(amps[-third:]) / third
    fell = sum(blocks[0:2 * third:2]) / third - sum(blocks[-2 * third::2]) / third
    fills = min(mean, early) > max(FILL_A, FILL_FRAC * battery.rated_capacity_ah)
    if fills and late > KEEP_FRAC * early and fell > SINK_V[battery.lead_acid]:
        times = state.idle_times + 1 if at_s - state.idle_at_s < MEMORY_S / 2 else 1
        return replace(state, blocks=blocks, idle_a=mean, idle_at_s=at_s, idle_times=times)
    return replace(state, blocks=blocks)


def note_silence(state: Bypass) -> Bypass:
    """After a minute in which something was not measured."""
    return replace(state, blocks=()) if state.blocks else state


def pairs_now(state: Bypass, at_s: float) -> float:
    """Pairs of steps that are still remembered."""
    return state.pairs * exp(-(at_s - state.pairs_at_s) / MEMORY_S) if state.pairs else 0.0


def idle_now(state: Bypass, at_s: float) -> bool:
    """Whether charging lifted nothing within the last days."""
    return state.idle_times >= IDLE_TIMES and at_s - state.idle_at_s < MEMORY_S
