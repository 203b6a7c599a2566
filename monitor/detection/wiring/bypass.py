"""A load that goes round the shunt: voltage that steps without current, and charging that fills nothing."""
from dataclasses import dataclass, replace
from math import exp

from monitor.battery.label import Battery

#: A step of voltage that must have had a current [V], flat to this part of it before and after, while the shown
#: current kept within this [A]. Two minutes before are held against two minutes after two more.
STEP_V, FLAT_FRAC, STILL_A = 0.015, 0.35, 0.4
#: Near nothing a little sun moves the voltage by much: only what is drawn counts [A].
REST_A = 0.15
#: A voltage higher than this is a charger's, and a charger moves it without current.
CHARGER_V = {True: 13.3, False: 13.45}
#: Lower than this it is nearly empty, and little currents move it by much [V].
EMPTY_V = {True: 12.0, False: 12.9}
#: An "on" waits for its "off" of about the same size for so long [s].
PAIR_S = 2 * 3600.0
#: A pair by day is worth half of one by night [local hours], for a little sun looks like it.
NIGHT, BY_DAY = (20.0, 6.0), 0.5
#: So many pairs, each forgotten with this time constant [s].
PAIRS, MEMORY_S = 2.5, 2 * 86400.0
#: So many ten-minute means in a row in which more was shown to flow in than this [of the rated capacity an hour, A],
#: no less at the end than this share, at a voltage that no charger makes, and which sank by this [V].
#: Seen so many times in a row or nearly, it is no passing cloud.
BLOCKS, FILL_FRAC, FILL_A, KEEP_FRAC, IDLE_TIMES = 18, 0.004, 0.5, 0.7, 6
SINK_V = {True: 0.01, False: 0.005}
FILL_V = {True: 12.95, False: 13.30}


@dataclass(frozen=True, slots=True)
class Bypass:
    """Pairs of steps without a current so far, the one that waits, and charging that lifted nothing."""

    on_at_s: float = -1e9
    on_v: float = 0.0                   # of the voltage step that waits for its other half
    skip_until_s: float = 0.0
    pairs: float = 0.0
    pairs_at_s: float = 0.0
    pair_v: float = 0.0                 # mean size
    blocks: tuple[float, ...] = ()      # volts and amperes of the last ten-minute means
    idle_a: float = 0.0                 # what such charging was shown to be, 0: none seen
    idle_at_s: float = 0.0
    idle_times: int = 0


def minute(held: Bypass, at_s: float, ring: tuple[float, ...], battery: Battery, scatter_v: float, hour: float | None) -> Bypass:
    """After one more minute; ring holds volts and amperes of the last six, in turn. scatter_v: of single readings."""
    if len(ring) < 12 or at_s < held.skip_until_s:
        return held
    v0, a0, v1, a1, v2, a2, v3, a3, v4, a4, v5, a5 = ring
    step = (v4 + v5 - v0 - v1) / 2
    size = step if step > 0 else -step
    if (
        size < STEP_V or size < 3.0 * scatter_v or abs(v1 - v0) > FLAT_FRAC * size or abs(v5 - v4) > FLAT_FRAC * size
        or max(v0, v1, v2, v3, v4, v5) > CHARGER_V[battery.lead_acid] or min(v0, v1, v2, v3, v4, v5) < EMPTY_V[battery.lead_acid]
    ):
        return held
    most = max(a0, a1, a2, a3, a4, a5)
    if most > REST_A or most - min(a0, a1, a2, a3, a4, a5) > STILL_A:
        return held
    night = hour is not None and (hour >= NIGHT[0] or hour < NIGHT[1])
    return _stepped(held, at_s, step, size, 1.0 if night else BY_DAY)


def _stepped(held: Bypass, at_s: float, step_v: float, size_v: float, worth: float) -> Bypass:
    if step_v < 0:
        return replace(held, on_at_s=at_s, on_v=size_v, skip_until_s=at_s + 180.0)
    if not (at_s - held.on_at_s < PAIR_S and 0.5 * held.on_v < size_v < 1.5 * held.on_v):
        return replace(held, skip_until_s=at_s + 180.0)
    pairs = pairs_now(held, at_s) + worth
    return replace(held, pairs=pairs, pairs_at_s=at_s, pair_v=held.pair_v + (size_v - held.pair_v) / min(max(pairs, 1.0), 8.0),
                   on_at_s=-1e9, on_v=0.0, skip_until_s=at_s + 180.0)


def block(held: Bypass, at_s: float, voltage_v: float, current_a: float, battery: Battery) -> Bypass:
    """The means of ten minutes more."""
    if not EMPTY_V[battery.lead_acid] < voltage_v < FILL_V[battery.lead_acid]:
        return held if not held.blocks else replace(held, blocks=())
    blocks = (*held.blocks[-2 * (BLOCKS - 1):], voltage_v, current_a)
    if len(blocks) < 2 * BLOCKS:
        return replace(held, blocks=blocks)
    amps, third = blocks[1::2], BLOCKS // 3
    mean = sum(amps) / BLOCKS
    early, late = sum(amps[:third]) / third, sum(amps[-third:]) / third
    fell = sum(blocks[0:2 * third:2]) / third - sum(blocks[-2 * third::2]) / third
    if min(mean, early) > max(FILL_A, FILL_FRAC * battery.rated_capacity_ah) and late > KEEP_FRAC * early and fell > SINK_V[battery.lead_acid]:
        times = held.idle_times + 1 if at_s - held.idle_at_s < MEMORY_S / 2 else 1
        return replace(held, blocks=blocks, idle_a=mean, idle_at_s=at_s, idle_times=times)
    return replace(held, blocks=blocks)


def silent(held: Bypass) -> Bypass:
    """After a minute in which something was not measured."""
    return replace(held, blocks=()) if held.blocks else held


def pairs_now(held: Bypass, at_s: float) -> float:
    """Pairs of steps that are still remembered."""
    return held.pairs * exp(-(at_s - held.pairs_at_s) / MEMORY_S) if held.pairs else 0.0


def idle_now(held: Bypass, at_s: float) -> bool:
    """Whether charging lifted nothing within the last days."""
    return held.idle_times >= IDLE_TIMES and at_s - held.idle_at_s < MEMORY_S
