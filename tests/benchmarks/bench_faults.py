"""Faults in the files of a log: `python -m tests.benchmarks.bench_faults [COUNT] [FIRST]`, 2,000 of them by default.

What was stopped goes on with a higher FIRST: each fault is that of its number. Power cuts are in bench_power.
"""
import logging
import shutil
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.crash.faults import Outcome, judge, rows_of, whole_log

FAULTS = 2000
#: rows so many seconds apart: a life as long as the tests', with fewer of them
BEAT_S = 300.0


def main(arguments: list[str]) -> None:
    """Prints how many faults ended well, by kind. arguments: how many, and the number of the first."""
    count, first = (*map(int, arguments), *(FAULTS, 1000)[len(arguments):])
    began, kinds, well, gone = time.monotonic(), Counter[str](), Counter[str](), Counter[str]()
    logging.disable(logging.CRITICAL)
    memory = Path("/dev/shm")  # faults are put into bytes, not into disks
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as top:
        logs = []
        for name, running in (("closed", False), ("running", True)):
            (Path(top) / name).mkdir()
            whole = whole_log(Path(top) / name, running, BEAT_S)
            shutil.copytree(whole.parent, Path(top) / f"{name} and read")  # reading a running log brings its end into it
            logs.append((whole, rows_of(Path(top) / f"{name} and read" / whole.name)))
        for seed in range(first, first + count):
            whole, rows = logs[seed % 2]
            try:
                left = judge(whole, rows, Path(top) / "hurt", seed)
            except Exception as error:  # a miss like any other
                left = Outcome("crash", 1, 0, 0, f"{type(error).__name__}: {error}")
            kinds[left.kind] += 1
            well[left.kind] += left.good
            gone[left.kind] = max(gone[left.kind], left.gone)
            if not left.good:
                print(f"fault {seed} ({left.kind}): {left.changed} rows changed, {left.gone} gone, {left.unnamed} of them not named; "
                      f"told: {left.told[:300] or 'nothing'} {left.first_changed[:500]}", flush=True)
            if seed % 100 == 99:
                so_far = f"{seed - first + 1} faults, {sum(well.values())} ended well, {time.monotonic() - began:.0f} s"
                print(so_far, file=sys.stderr, flush=True)
    print(f"{sum(kinds.values())} faults in {time.monotonic() - began:.0f} s; every row right or marked missing: {sum(well.values())}")
    for kind, number in sorted(kinds.items()):
        print(f"  {kind}: {well[kind]} of {number}; most rows gone by one: {gone[kind]}")
    print(f"rows in all: {sum(map(len, logs[0][1].values()))}")


if __name__ == "__main__":
    main(sys.argv[1:])
