"""The first reading of a start, taken before what is slow to import: a start that follows a power cut misses the less."""
import time
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from monitor.sampling.sampler import AT_ONCE, Openable, Sampler


@dataclass(frozen=True, slots=True)
class FirstReading:
    """Instruments that are open, what they said, and when, in seconds since boot."""

    sampler: Sampler
    boot_s: float
    answers: list[Any]


def take(sources: Iterable[Openable], beat_s: float) -> FirstReading | None:
    """Opens the instruments and asks each once; None where they bring their own time, which nothing is gained on."""
    sources = tuple(sources)
    if any(source.driver in AT_ONCE for source in sources):
        return None
    sampler = Sampler(sources, beat_s)
    boot_s = time.clock_gettime(time.CLOCK_BOOTTIME)
    answers, _, _ = sampler.read(boot_s)
    return FirstReading(sampler, boot_s, answers)
