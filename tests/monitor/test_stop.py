"""The word to stop, given by a signal at any moment of the wait."""
import subprocess
import sys
import threading
import time

from monitor.process.stop import SignalSafeEvent

#: A signal falls into each of many short waits, at a random step of it.
ROUNDS = """
import random, signal
from monitor.process.stop import SignalSafeEvent
random.seed(1)
signal.signal(signal.SIGALRM, lambda *_: stop.set())
for _ in range(3000):
    stop = SignalSafeEvent()
    signal.setitimer(signal.ITIMER_REAL, random.uniform(1e-5, 3e-4))
    while not stop.is_set():
        stop.wait(1e-5)
"""


def test_a_signal_that_falls_between_two_steps_of_the_wait_ends_it() -> None:
    """With threading.Event or queue.SimpleQueue in its place it may wait for ever; on a busy machine it nearly always does."""
    subprocess.run([sys.executable, "-c", ROUNDS], timeout=60, check=True)


def test_it_waits_for_its_time_or_for_the_word_and_then_stays_set() -> None:
    stop = SignalSafeEvent()
    assert not stop.is_set() and not stop.wait(0.01) and not stop.wait(-1.0)
    threading.Timer(0.05, stop.set).start()
    began = time.monotonic()
    assert stop.wait(30) and time.monotonic() - began < 20
    assert stop.is_set() and stop.wait(0.0) and stop.wait(5.0) and stop.is_set()
    stop.set()
    assert stop.wait(0.0)
