"""Faults in the files of a log: `python -m tests.benchmarks.bench_faults [COUNT] [FIRST]`, 2,000 of them by default."""
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.crash.faults import judge, rows_of, whole_log

FAULTS = 2000


def main(count: int = FAULTS, first: int = 1000) -> None:
    """Prints how many faults ended well, by kind."""
    began, kinds, well, gone = time.monotonic(), Counter[str](), Counter[str](), 0
    with tempfile.TemporaryDirectory() as top:
        (Path(top) / "whole").mkdir()
        whole = whole_log(Path(top) / "whole")
        rows = rows_of(whole)
        for seed in range(first, first + count):
            left = judge(whole, rows, Path(top) / "hurt", seed)
            kinds[left.kind] += 1
            good = not left.changed and (not left.gone or "Missing" in left.told)
            well[left.kind] += good
            gone = max(gone, left.gone)
            if not good:
                print(f"fault {seed} ({left.kind}): {left.changed} rows changed, {left.gone} gone, told: {left.told or 'nothing'}",
                      flush=True)
    print(f"{sum(kinds.values())} faults in {time.monotonic() - began:.0f} s; every row right or marked missing: {sum(well.values())}")
    for kind, number in kinds.items():
        print(f"  {kind}: {well[kind]} of {number}")
    print(f"most rows gone by one fault: {gone} of {sum(map(len, rows.values()))}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
