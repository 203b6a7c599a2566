"""Runs every benchmark in turn: `make bench`, or `python -m tests.benchmarks NAME` for some of them.

Those that take half an hour and more are run by name only.
"""
import importlib
import sys
import time
from pathlib import Path

FOLDER = Path(__file__).parent
#: What takes longer than a tea, and how long on two cores.
LONG = {"bench_parameters": "some hours", "bench_charge_ensemble": "an hour"}


def main(wanted: list[str]) -> None:
    for path in sorted(FOLDER.glob("bench_*.py")):
        if not any(word in path.stem for word in wanted) if wanted else path.stem in LONG:
            continue
        print(f"\n== {path.stem} ==", flush=True)
        module = importlib.import_module(f"tests.benchmarks.{path.stem}")
        started = time.perf_counter()
        arguments = module.main.__code__.co_argcount
        module.main(*([[]] if arguments else []))
        print(f"({time.perf_counter() - started:.0f} s)", flush=True)
    if not wanted:
        print("\nLeft out: " + ", ".join(f"{name} ({takes})" for name, takes in LONG.items()))


if __name__ == "__main__":
    main(sys.argv[1:])
