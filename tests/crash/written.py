"""A process that writes a log of some days and says what is safe: `python -m tests.crash.written FOLDER PARTS SEED`."""
import sys
from pathlib import Path
from random import Random

from monitor.store.batch import Batch, TimeLabel
from monitor.store.writer import Writer
from tests.monitor.test_store_outages import Life

MINUTES = 180
BEAT_S = 60.0


def life_of(seed: int) -> Life:
    """The life that is written, the same each time."""
    return Life(Random(seed), BEAT_S)


def main(folder: Path, parts: int, seed: int) -> None:
    """Writes so many parts of MINUTES minutes, with a new start now and then; each line said is the last moment that is safe [ms]."""
    life, writer = life_of(seed), None
    for part in range(parts):
        if writer is None:
            writer = Writer(folder / "ampledger.db", meta={"simulated": "1"}, pauses_s=(0.01,), ballast_bytes=4096)
            writer.start()
            writer.offer(Batch(labels=(TimeLabel(0.0, "one boot", 0.0, 0.0, True, "written"),)))
        for batch in life.live(MINUTES):
            writer.offer(batch)
        if writer.flush(60):
            with open(folder / "safe", "ab", buffering=0) as safe:
                safe.write(b"%d\n" % life.now_ms)
        if part % 9 == 8:
            writer.close(60)
            writer = None
    if writer is not None:
        writer.close(60)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
