"""The word to stop, which a signal handler may give."""
import queue


class Stop:
    """An event that may be set from a signal handler. threading.Event may not: the handler runs in the thread that
    waits, and where it comes between two steps of the wait, it asks for a lock which that same thread holds, for ever.
    SimpleQueue.put is reentrant, made for this (Python library reference, queue)."""

    def __init__(self) -> None:
        self._told: queue.SimpleQueue[bool] = queue.SimpleQueue()

    def set(self) -> None:
        self._told.put(True)

    def is_set(self) -> bool:
        return not self._told.empty()

    def wait(self, timeout_s: float) -> bool:
        """Waits until it is set, or for timeout_s; returns whether it is set."""
        try:
            self._told.put(self._told.get(timeout=max(timeout_s, 0.0)))
        except queue.Empty:
            return False
        return True
