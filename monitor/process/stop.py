"""The word to stop, which a signal handler may give."""
import threading
import time
from contextlib import suppress

#: At most so long at a time: a signal that comes just before the wait, or that the kernel gave to another thread,
#: interrupts nothing, and its handler runs when the wait is over [s].
AT_A_TIME_S = 1.0


class SignalSafeEvent:
    """An event that may be set from a signal handler. threading.Event may not: the handler runs in the thread that
    waits, and where it comes between two steps of the wait, it asks for a lock which that same thread holds, for ever.
    Nor may queue.SimpleQueue with a time limit: where that has passed at its second look, it waits without one. A plain
    lock may be released by anyone, and minds its limit (Python library reference, threading.Lock)."""

    def __init__(self) -> None:
        self._told = False
        self._until_told = threading.Lock()
        self._until_told.acquire()

    def set(self) -> None:
        self._told = True
        with suppress(RuntimeError):    # told before
            self._until_told.release()

    def is_set(self) -> bool:
        return self._told

    def wait(self, timeout_s: float) -> bool:
        """Waits until it is set, or for timeout_s; returns whether it is set."""
        until_s = time.monotonic() + timeout_s
        while not self._told and (left_s := until_s - time.monotonic()) > 0:
            if self._until_told.acquire(timeout=min(left_s, AT_A_TIME_S)):
                self.set()      # for any other that waits
        return self._told
