"""Cuts the starter voltage around an engine start out of a stream of fast readings."""
from collections import deque

#: A start pulls the voltage this far down [V]; half way back it is over.
DIP_V = 0.5
#: So much before and after it belongs to it [s]; one that has not ended by then was none.
BEFORE_S, AFTER_S, LONGEST_S = 1.5, 5.0, 25.0
#: The level before it follows slow changes with this time constant [s].
SETTLE_S = 0.5
#: So fast is needed to see a start at all [Hz].
SLOWEST_HZ = 20.0


class StartTrace:
    """Takes readings one by one; hands the trace of a start over once, when it is over.

    frequency_hz is that of the readings; seconds in the trace count from the first reading taken.
    """

    def __init__(self, frequency_hz: float) -> None:
        self._step_s = 1.0 / frequency_hz
        self._before: deque[tuple[float, float]] = deque(maxlen=max(1, round(BEFORE_S * frequency_hz)))
        self._taken = 0
        self._level_v: float | None = None
        self._trace: list[tuple[float, float]] = []
        self._began_s = self._low_s = 0.0

    def add(self, voltage_v: float) -> tuple[tuple[float, float], ...]:
        """The trace of the start that is over with this reading [s, V]; empty otherwise."""
        at_s = self._taken * self._step_s
        self._taken += 1
        if self._level_v is not None and self._trace:
            return self._go_on(at_s, voltage_v, self._level_v)
        if self._level_v is not None and voltage_v < self._level_v - DIP_V and len(self._before) == self._before.maxlen:
            self._trace = [*self._before, (at_s, voltage_v)]
            self._began_s = self._low_s = at_s
            return ()
        self._before.append((at_s, voltage_v))
        level_v = voltage_v if self._level_v is None else self._level_v
        self._level_v = level_v + (voltage_v - level_v) * min(1.0, self._step_s / SETTLE_S)
        return ()

    def _go_on(self, at_s: float, voltage_v: float, level_v: float) -> tuple[tuple[float, float], ...]:
        self._trace.append((at_s, voltage_v))
        if voltage_v < level_v - DIP_V / 2:
            self._low_s = at_s
        recovered = at_s - self._low_s >= AFTER_S
        if not recovered and at_s - self._began_s < LONGEST_S:
            return ()
        trace, self._trace = tuple(self._trace), []
        self._before.clear()
        self._level_v = voltage_v
        return trace if recovered else ()  # a load that stays, or batteries that were joined
