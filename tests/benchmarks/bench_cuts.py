"""A thousand power cuts: real daemons killed at any moment, and logs whose last bytes never reached the card."""
import random
import shutil
import tempfile
import time
from pathlib import Path

from tests.crash.cuts import Victims, look
from tests.crash.test_power_cuts import MOMENTS

KILLS, TRUNCATIONS = 710, 300
PATIENCE_S = 3600.0


def main() -> None:
    """Prints how many were survived, and what was lost at worst."""
    chance, sound, batches, events, differ, done, torn = random.Random(1), 0, 0, 0, 0, 0, 0
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as top, Victims() as victims:
        promised: set[str] = set()
        folder = Path(top) / "0"
        folder.mkdir()
        for cut in range(KILLS):
            if time.monotonic() - began > PATIENCE_S:
                break
            if cut % 50 == 49:  # a young log again, so that making one is cut too
                folder, promised = Path(top) / str(cut), set()
                folder.mkdir()
            said = victims.cut(folder, *MOMENTS[cut % len(MOMENTS)](chance), commit_s=chance.choice((60.0, 300.0)))
            promised |= said.events
            done += 1
            if not (folder / "ampledger.db").exists():
                sound += 1
                continue
            left = look(folder / "ampledger.db")
            sound += left.sound and not left.lost_parts
            events += len(promised - left.events)
            behind = sum(minute > left.minute_s + 1 for minute in said.minutes)
            batches = max(batches, behind)
            differ += abs(left.spent_ah - left.rows_ah) > 1e-3 or abs(left.spent_ah - left.expected_ah) > 1e-6
            for _ in range(TRUNCATIONS // 100 if cut % 7 == 3 and (folder / "ampledger.db-wal").exists() else 0):
                copy = Path(top) / "copy"
                shutil.rmtree(copy, ignore_errors=True)
                copy.mkdir()
                for name in ("ampledger.db", "ampledger.db-wal"):
                    shutil.copy(folder / name, copy / name)
                with open(copy / "ampledger.db-wal", "r+b") as wal:
                    wal.truncate(chance.randrange((copy / "ampledger.db-wal").stat().st_size + 1))
                short = look(copy / "ampledger.db")
                torn += 1
                sound += short.sound
                differ += abs(short.spent_ah - short.rows_ah) > 1e-3
    print(f"{done} kills and {torn} truncated logs in {time.monotonic() - began:.0f} s")
    print(f"sound afterwards                          {sound} of {done + torn}")
    print(f"events lost that were called safe         {events}")
    print(f"minutes handed over and lost, at worst    {batches} (five minutes may wait in the economy mode)")
    print(f"state and rows differ, or counted twice   {differ}")
