"""A temperature sensor that does not sit on the battery: it warms and cools faster than such a mass can."""
from monitor.parameters import table
from monitor.replacing import dataclass

P = table("detection/wiring", "sunny_sensor")
SWING_K, BLOCKS = P.number("swing_k"), P.count("blocks")
GAP_S = P.number("gap_s")
SWINGS, APART_S, MEMORY_S = P.count("swings"), P.number("apart_s"), P.number("memory_s")


@dataclass(frozen=True, slots=True)
class TemperatureSwings:
    """The last half hour's temperatures, and the swings seen."""

    last_c: tuple[float, ...] = ()
    last_s: float = 0.0                 # when the latest of them was measured
    at_s: tuple[float, ...] = ()        # of the latest swings
    sunny: int = 0                      # of them, while the sun shone
    most_k: float = 0.0


def update(state: TemperatureSwings, at_s: float, temperature_c: float, sun: bool) -> TemperatureSwings:
    """Ten minutes more; sun: something charges the house battery without the engine.

    state: what was kept after the minute before; at_s: the log's time [s]; temperature_c: what the sensor shows [°C].
    """
    last = (*state.last_c[-BLOCKS:], temperature_c) if at_s - state.last_s < GAP_S else (temperature_c,)
    swing = max(abs(temperature_c - t) for t in last)
    if swing < SWING_K or state.at_s and at_s - state.at_s[-1] < APART_S:
        return TemperatureSwings(last, at_s, state.at_s, state.sunny, state.most_k)
    fresh = state.at_s and at_s - state.at_s[-1] < MEMORY_S
    times = (*state.at_s[-7:], at_s) if fresh else (at_s,)
    return TemperatureSwings(last, at_s, times, (state.sunny if fresh else 0) + sun, max(state.most_k, swing) if fresh else swing)


def is_loose(state: TemperatureSwings, at_s: float) -> bool:
    """Whether the sensor does not feel the battery."""
    return sum(at_s - t < MEMORY_S for t in state.at_s) >= SWINGS
