"""A process that writes a log of some days and says what is safe: `python -m tests.crash.written FOLDER PARTS SEED`."""
import sys
from pathlib import Path
from random import Random

from monitor import pipeline
from monitor.alerts import rules
from monitor.logbook import resume
from monitor.sampling.gather import Gathering
from monitor.store import check, set_aside
from monitor.store.batch import Batch, TimeLabel
from monitor.store.open_log import OpenLog
from monitor.store.state import State
from monitor.store.view import open_view
from monitor.store.writer import Writer
from tests.monitor.test_store_outages import Life
from tests.store_fixture import VEHICLE

MINUTES = 180
BEAT_S = 60.0
#: More failures in a row than any test asks for.
MOST_FAILURES = 100


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
            _note_safe(folder / "safe", life.now_ms)
        if part % 9 == 8:
            writer.close(60)
            writer = None
    if writer is not None:
        writer.close(60)


def _note_safe(path: Path, now_ms: int) -> None:
    """Write down the last moment that is safe; a failure meant for the log may hit this file, which is the test's own."""
    for _ in range(MOST_FAILURES):
        try:
            with open(path, "ab", buffering=0) as safe:
                safe.write(b"%d\n" % now_ms)
            return
        except OSError:
            continue
    raise AssertionError(f"{path} could not be written {MOST_FAILURES} times in a row")


def judge(life: Life, database: Path, safe_ms: int, where: str) -> None:
    """What a start makes of the card after a cut, against all that was handed over until then: AssertionError where a safe row is gone.

    life: what was handed over; database: on the card; safe_ms: until then it had been called safe; where: for the words.
    """
    found = resume.read(database, State(pipeline.begin(VEHICLE), rules.begin(), Gathering()))
    assert found.trouble == "" and not found.tail_lost_s, f"{where}: {found.why}"
    if not database.exists():
        assert not safe_ms
        return
    OpenLog(database).close()
    with open_view(database) as log:
        minutes = {row[0]: row for row in log.rows_of_level("minutes", -1, 2**62)}
        raw = {row[0]: row for hour in log.raw(-1, 2**62) for row in hour}
    for rows, right in ((minutes, life.minutes), (raw, life.raw)):
        assert all(right.get(at) == row for at, row in rows.items()), f"{where}: a row that is not as it was written"
        missing = [at for at in right if at <= safe_ms and at not in rows]
        assert not missing, f"{where}: {len(missing)} rows that were safe are gone, from {missing[0]}"
    assert check.check(database).sound and not set_aside.why_unfinished(database)


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
