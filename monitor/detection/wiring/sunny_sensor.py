"""A temperature sensor that does not sit on the battery: it warms and cools faster than such a mass can."""
from dataclasses import dataclass

from monitor.parameters import table

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


def update(held: TemperatureSwings, at_s: float, temperature_c: float, sun: bool) -> TemperatureSwings:
    """Ten minutes more; sun: something charges the house battery without the engine."""
    last = (*held.last_c[-BLOCKS:], temperature_c) if at_s - held.last_s < GAP_S else (temperature_c,)
    swing = max(abs(temperature_c - t) for t in last)
    if swing < SWING_K or held.at_s and at_s - held.at_s[-1] < APART_S:
        return TemperatureSwings(last, at_s, held.at_s, held.sunny, held.most_k)
    fresh = held.at_s and at_s - held.at_s[-1] < MEMORY_S
    times = (*held.at_s[-7:], at_s) if fresh else (at_s,)
    return TemperatureSwings(last, at_s, times, (held.sunny if fresh else 0) + sun, max(held.most_k, swing) if fresh else swing)


def is_loose(held: TemperatureSwings, at_s: float) -> bool:
    """Whether the sensor does not feel the battery."""
    return sum(at_s - t < MEMORY_S for t in held.at_s) >= SWINGS
