"""What the log costs: bytes written a day, bytes kept per reading, commits, a month's picture, memory, start."""
import gzip
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing
from math import erf, log2
from pathlib import Path
from random import Random

from monitor.logbook.reader import Reader
from monitor.sample import Sample
from monitor.store import checksum, chunks
from monitor.store.sample_rows import sample_row
from tests import store_fixture

RECORDINGS = Path(__file__).parent.parent / "recordings"


def main() -> None:
    """Prints one table."""
    print(f"{'measure':<74}{'here':>14}{'goal':>9}")
    for name, quiet_v, quiet_a in (("quiet", 0.001, 0.005), ("medium", 0.003, 0.02), ("noisy", 0.008, 0.08)):
        row(f"bytes per raw reading, 6 quantities, 1 Hz, {name} instruments", per_reading(quiet_v, quiet_a), "<= 2.5")
        row("  the least that any lossless packing of such noise can reach", least_bytes(quiet_v, quiet_a), "")
    row("  the same, rows of a recorded drive, 4 quantities at 30 s", recorded(), "")
    pack_ms, unpack_ms = pack_times()
    row("packing an hour, unpacking an hour [ms]", f"{pack_ms:.1f}, {unpack_ms:.1f}", "")
    with tempfile.TemporaryDirectory(dir=Path.cwd()) as folder:
        for commit_s in (60, 300):
            ran = subprocess.run([sys.executable, "-m", "tests.benchmarks.a_day", folder + f"/{commit_s}", str(commit_s), "8"],
                                 capture_output=True, text=True, check=True)
            day = dict(line.split(" ") for line in ran.stdout.splitlines())
            goal = "<= 70" if commit_s == 60 else "<= 20"
            row(f"MB written a day at 1 Hz, a commit every {commit_s} s (kernel's write_bytes)", float(day["written_mb"]), goal)
            row("  of these handed to write() by the program [MB]", float(day["wchar_mb"]), "")
            row("  file after the day, all in [MB]", float(day["file_mb"]), "")
            row("  commit, median and 95th percentile [ms]", f"{day['commit_p50_ms']}, {day['commit_p95_ms']}", "")
            row("  processor time of the day without the trackers [s]", float(day["cpu_s"]), "")
            row("  proportional memory of the daemon's parts [MB]", float(day["pss_mb"]), "<= 60")
        for days, text, goal in ((30, "a month", "<= 2"), (7, "a week", ""), (1, "a day", ""), (90, "90 days", "")):
            p50, p95, level, points = picture(Path(folder) / "pictures.db", days)
            row(f"{text} from 90 days at 1 Hz: {points} rows of {level} [ms, median and 95 %]", f"{p50:.1f}, {p95:.1f}", goal)


def row(name: str, value: float | str, goal: str) -> None:
    """One line of the table."""
    print(f"{name:<74}{value if isinstance(value, str) else f'{value:.2f}':>14}{goal:>9}", flush=True)


def an_hour(noise_v: float, noise_a: float, seed: int = 3) -> list[tuple]:
    """An evening hour of six quantities with a fridge, as instruments of some noise show it."""
    chance, rows = Random(seed), []
    for i in range(3600):
        amps = -0.8 - (4.2 if i % 1500 < 560 else 0.0)
        rows.append(sample_row(Sample(
            1e6 + i, round((12.52 + 0.03 * amps - 2e-6 * i + chance.gauss(0, noise_v)) / 0.00125) * 0.00125,
            round((amps + chance.gauss(0, noise_a)) / 0.002) * 0.002, round((12.71 + chance.gauss(0, noise_v)) / 0.00125) * 0.00125,
            round((19.4 - i / 9000) * 16) / 16, None, round((15.0 - i / 4000) * 16) / 16,
            max(0.0, round(chance.gauss(0, noise_a) / 0.002) * 0.002))))
    return rows


def per_reading(noise_v: float, noise_a: float) -> float:
    """Bytes in the chunk for each of its readings (moments, not values)."""
    rows = an_hour(noise_v, noise_a)
    return len(chunks.pack(rows)[-1]) / len(rows)


def least_bytes(noise_v: float, noise_a: float) -> float:
    """Entropy of the noise of a reading as the instruments of an_hour step it (Shannon): two voltages, a current, a sun at night.

    noise_v, noise_a: standard deviations [V, A].
    """
    volts, amps = bits(noise_v / 0.00125), bits(noise_a / 0.002)
    at_night = 1.0 + 0.5 * (amps - 1.0)  # half of its readings are 0, the others half a bell
    return (2 * volts + amps + at_night) / 8


def bits(sigma: float) -> float:
    """Entropy of a normal value in whole steps. sigma: standard deviation in steps."""
    def below(x: float) -> float:
        return 0.5 * (1 + erf(x / (sigma * 2**0.5)))

    shares = [below(k + 0.5) - below(k - 0.5) for k in range(-round(8 * sigma) - 1, round(8 * sigma) + 2)]
    return -sum(share * log2(share) for share in shares if share > 0)


def recorded() -> float:
    """The same of a recorded drive."""
    rows = []
    with gzip.open(RECORDINGS / "agm-camp" / "readings.csv.gz", "rt") as file:
        next(file)
        for line, _ in zip(file, range(28800)):
            rows.append(sample_row(Sample(*[float(v) if v else None for v in line.strip().split(",")[:5]])))
    return sum(len(chunks.pack(rows[i:i + 120])[-1]) for i in range(0, len(rows), 120)) / len(rows)


def pack_times() -> tuple[float, float]:
    """Milliseconds to pack and to unpack an hour."""
    rows = an_hour(0.003, 0.02)
    started = time.perf_counter()
    for _ in range(5):
        packed = chunks.pack(rows)
    middle = time.perf_counter()
    for _ in range(5):
        chunks.unpack(*packed)
    return (middle - started) * 200, (time.perf_counter() - middle) * 200


def picture(database: Path, days: float) -> tuple[float, float, str, int]:
    """Milliseconds of the reader for a span at the end of 90 days of roll-ups."""
    if not database.exists():
        store_fixture.fill(database, 0.05, beat_s=30.0)
        with closing(sqlite3.connect(database)) as log, log:
            for level, step in (("minutes", 60_000), ("quarters", 900_000), ("hours", 3_600_000), ("days", 86_400_000)):
                (one,) = log.execute("select * from minutes limit 1").fetchall()
                log.executemany(checksum.insert_of(level), (checksum.add_checksum(level, (end, end - step, *one[2:-1]))
                                                            for end in range(step, 90 * 86_400_000 + 1, step)))
    end, took = store_fixture.BEGINS_UTC_S + 90 * 86400, []
    for _ in range(40):
        started = time.perf_counter()
        series = Reader(database).series(end - days * 86400, end)
        took.append((time.perf_counter() - started) * 1000)
    took.sort()
    return took[20], took[37], series.level, len(series.columns["at_utc_s"])
