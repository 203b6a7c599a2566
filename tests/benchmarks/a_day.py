"""Some hours at 1 Hz through daemon and writer, and what the kernel counted meanwhile, a day of it.

python -m tests.benchmarks.a_day FOLDER COMMIT_S HOURS
"""
import sys
import time
from pathlib import Path

from monitor import pipeline
from monitor.process.daemon import Daemon
from tests import store_fixture
from tests.hand_clock import HandClock
from tests.vehicle_by_hand import Instrument


def counters() -> dict[str, int]:
    """This process's own I/O counters (proc(5))."""
    return {name: int(value) for name, value in (line.split(": ") for line in Path("/proc/self/io").read_text().splitlines())}


def pss_mb() -> float:
    """Proportional set size (proc(5), smaps_rollup)."""
    lines = Path("/proc/self/smaps_rollup").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def main(folder: Path, commit_s: float, hours: float) -> None:
    """Counts after six hours of life, so that all tables have grown; every minute is written before the next."""
    clock, instrument, took, spent = HandClock(boot_s=0.0), Instrument(), [], 0.0

    def step(held, minute, vehicle):
        nonlocal spent
        started = time.process_time()
        found = pipeline.step(held, minute, vehicle)
        spent += time.process_time() - started
        return found

    database = folder / "ampledger.db"
    daemon = Daemon(database, store_fixture.VEHICLE, [instrument], clock=clock, begin=pipeline.begin, step=step, commit_s=commit_s)
    before = started = 0
    for sample in store_fixture.samples(0.25 + hours / 24, beat_s=1.0):
        clock.move(1.0)
        instrument.shows = {"house_voltage_v": sample.house_voltage_v, "house_current_a": sample.house_current_a,
                            "starter_voltage_v": sample.starter_voltage_v, "house_temperature_c": sample.house_temperature_c}
        found = daemon.beat()
        if found is not None:
            while daemon.writer._due() or daemon.writer.status().commits == 0:  # a card has a minute for each of these
                time.sleep(0.0005)
            took.append(daemon.writer.status().last_commit_s * 1000)
        if not before and sample.at_s >= 0.25 * 86400:
            daemon.writer.ask(lambda c: None).result(30)
            before, started, spent = counters(), time.process_time(), 0.0
    daemon.writer.ask(lambda c: None).result(30)
    after = counters()
    took.sort()
    print("written_mb", round((after["write_bytes"] - before["write_bytes"]) / 1e6 * 24 / hours, 2))
    print("wchar_mb", round((after["wchar"] - before["wchar"]) / 1e6 * 24 / hours, 2))
    print("commit_p50_ms", round(took[len(took) // 2], 1))
    print("commit_p95_ms", round(took[len(took) * 95 // 100], 1))
    print("cpu_s", round(time.process_time() - started - spent, 1) * 24 / hours)
    print("pss_mb", round(pss_mb(), 1))
    daemon.close()
    print("file_mb", round(database.stat().st_size / 1e6, 2))


if __name__ == "__main__":
    main(Path(sys.argv[1]), float(sys.argv[2]), float(sys.argv[3]))
