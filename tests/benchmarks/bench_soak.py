"""Sixty days alone, as fast as they go: instruments fail and return, the clock is lost and set; nothing may grow."""
import logging
import tempfile
import time
from pathlib import Path

from tests.soak import lived

DAYS, BEAT_S = 60, 60.0


def main() -> None:
    """Prints what the process held every five days, and how fast it grew after the first twenty."""
    logging.getLogger("ampledger").setLevel(logging.CRITICAL)  # the troubles are wanted
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        marks = []
        print(f"{'day':>5} {'own memory':>12} {'threads':>8} {'files':>6} {'objects':>9}")
        for mark in lived(Path(folder), DAYS, BEAT_S, 5):
            marks.append(mark)
            print(f"{mark.day:5.0f} {mark.memory_mb:9.1f} MB {mark.threads:8} {mark.files:6} {mark.objects:9}", flush=True)
    early, late = [m for m in marks if m.day <= 25][-1], marks[-2]
    days = late.day - early.day
    print(f"from day {early.day:.0f} to {late.day:.0f}: memory {(late.memory_mb - early.memory_mb) / days * 1000:+.0f} kB a day, "
          f"threads {late.threads - early.threads:+}, files {late.files - early.files:+}, objects "
          f"{(late.objects - early.objects) / days:+.0f} a day "
          f"({time.perf_counter() - started:.0f} s)")
