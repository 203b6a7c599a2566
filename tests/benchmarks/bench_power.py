"""Power cuts at any operation of a real process: `python -m tests.benchmarks.bench_power [CUTS] [SEED]`, of each kind of work.

What was not brought to the disk is there, in part, torn by sectors, or not, in any order (tests/crash/file_layer.py). The kinds are
writing, a migration of each earlier shape, a salvage, a restore, and learning again from the log.
"""
import random
import shutil
import sys
import tempfile
import time
from pathlib import Path

from tests.crash import errands, file_layer, written

CUTS = 100
PARTS = 28
KINDS = (("migrate", "0001"), ("migrate", "0002"), ("salvage", ""), ("restore", ""), ("relearn", ""))


def writing(layer: Path, top: Path, cuts: int, seed: int) -> list[str]:
    """What went wrong after power cuts while a log is written.

    layer: from build(); top: an empty folder; cuts: how many; seed: which ones.
    """
    folder, card, chance, safe_ms, wrong = top / "card", file_layer.Card(), random.Random(seed), 0, []
    folder.mkdir(parents=True)
    file_layer.run(layer, ["tests.crash.written", str(folder), str(PARTS), str(seed)], folder, trace=top / "trace")
    life = written.life_of(seed)
    for _ in life.live(PARTS * written.MINUTES):
        pass
    operations = file_layer.read_trace(top / "trace")
    moments = set(chance.sample(range(len(operations)), cuts))
    for number, operation in enumerate(operations):
        if operation.path == str(folder / "safe"):
            safe_ms = int(operation.data)
            continue
        card.take(operation)
        if number in moments:
            card.cut(folder, top / "cut", chance)
            try:
                written.judge(life, top / "cut" / "ampledger.db", safe_ms, f"cut at operation {number} of {len(operations)}")
            except Exception as error:  # a miss like any other; an assertion has said which
                wrong.append(f"{type(error).__name__}: {error}")
            shutil.rmtree(top / "cut", ignore_errors=True)
    return wrong


def main(arguments: list[str]) -> None:
    """Prints how many cuts ended well, by kind. arguments: how many of each, and the seed."""
    cuts, seed = (*map(int, arguments), *(CUTS, 1)[len(arguments):])
    memory = Path("/dev/shm")
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        top = Path(folder)
        layer = file_layer.build(top)
        if layer is None:
            print("needs a C compiler (cc)")
            return
        for kind, shape in (("write", ""), *KINDS):
            began = time.monotonic()
            place = top / f"{kind}{shape}"
            place.mkdir()
            wrong = writing(layer, place, cuts, seed) if kind == "write" else errands.cut_off(layer, place, kind, shape, cuts, seed)
            for words in wrong:
                print(f"  {kind} {shape}: {words[:600]}", flush=True)
            print(f"{kind} {shape}: {cuts - len(wrong)} of {cuts} cuts ended well, {time.monotonic() - began:.0f} s", flush=True)
            shutil.rmtree(place)


if __name__ == "__main__":
    main(sys.argv[1:])
