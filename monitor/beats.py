"""The steady beat: wakes the daemon on time, tells the service manager that it lives, ends when asked."""
import logging
import signal
import threading
from collections.abc import Callable
from typing import Any

from monitor.clock import Clock
from monitor.notify import Notifier

log = logging.getLogger("ampledger")


class Stop:
    """Set by a signal or by hand; waiting for it is how the beat sleeps."""

    def __init__(self) -> None:
        self._event = threading.Event()

    def set(self, *_: object) -> None:
        """End after this beat."""
        self._event.set()

    def wait(self, pause_s: float) -> bool:
        """Sleep, or return at once when it is set."""
        return self._event.wait(pause_s)

    def __bool__(self) -> bool:
        return self._event.is_set()

    def on_signals(self) -> None:
        """Ctrl-C and the service manager's wish to end set it; a second Ctrl-C is obeyed at once."""
        def handle(number: int, _frame: object) -> None:
            if self and number == signal.SIGINT:
                raise KeyboardInterrupt
            self.set()

        signal.signal(signal.SIGINT, handle)
        signal.signal(signal.SIGTERM, handle)


def keep(daemon: Any, clock: Clock, beat_s: float, stop: Stop, *, notifier: Notifier,
         each: Callable[[Any], None] = lambda found: None) -> None:
    """One beat every beat_s seconds until stop is set.

    Beats keep to multiples of beat_s from the first one, so they do not drift; a beat that comes too late is
    left out, not made up for. each is told what every beat gave (findings once a minute, else None).
    """
    next_s = clock.boot_s()
    ready = False
    while not stop:
        found = daemon.beat()
        each(found)
        if not ready:
            notifier.ready("The first reading is taken.")
            ready = True
        notifier.alive()
        next_s += beat_s
        late_s = clock.boot_s() - next_s
        if late_s > beat_s:
            left_out = int(late_s / beat_s)
            log.warning("%d beats were left out: the board was busy or asleep for %.0f s", left_out, late_s)
            next_s += left_out * beat_s
        clock.wait(next_s)
