"""Faults put into the files of a log: flipped bits, torn and lost pages, cut ends; then the night's work, then every row looked at."""
import random
import shutil
from dataclasses import dataclass
from pathlib import Path

from monitor.logbook.reader import Reader
from monitor.store import check, mending, past, salvage, sealing, thinning
from monitor.store.open_log import OpenLog
from monitor.store.past import DAY_MS
from tests import store_fixture

DAYS = 3
LEVELS = ("minutes", "quarters", "hours", "days")


@dataclass(frozen=True)
class Outcome:
    """What a fault led to: rows that are not as they were written, rows that are gone, and what was said of it."""

    kind: str
    changed: int
    gone: int
    told: str


def whole_log(folder: Path) -> Path:
    """A log of some days, of which the first are sealed."""
    database = store_fixture.fill(folder / "ampledger.db", DAYS, beat_s=60.0)
    log = OpenLog(database)
    while thinning.pack_hours(log.sql, DAYS * DAY_MS):
        pass
    while (number := sealing.due(log.sql, DAYS * DAY_MS)) is not None:
        sealing.seal(log.sql, log.past, number)
    log.close()
    return database


def rows_of(database: Path) -> dict[str, dict[float, object]]:
    """Every row of every level, every reading and every event, by its moment."""
    reader, ignore = Reader(database), lambda *_: None
    found: dict[str, dict[float, object]] = {
        level: {end: values for _, end, values in reader.rolled(level, damaged=ignore)} for level in LEVELS}
    found["raw"] = dict(reader.rows(damaged=ignore))
    found["events"] = {number: (e.at_utc_s, e.what.kind, e.what.message) for number, e in enumerate(reader.events())
                       if e.what.kind != "log_damaged"}
    return found


def hurt(folder: Path, chance: random.Random) -> str:
    """One fault in one file of a log, by weight of bytes; returns its kind."""
    files = sorted(f for f in folder.rglob("*") if f.is_file() and f.suffix in (".db", ".day"))
    file = chance.choices(files, [f.stat().st_size for f in files])[0]
    body = bytearray(file.read_bytes())
    kind = chance.choice(("bit", "bit", "bit", "bit", "torn", "lost", "cut"))
    at = chance.randrange(len(body))
    if kind == "bit":
        body[at] ^= 1 << chance.randrange(8)
    elif kind in ("torn", "lost"):
        start = at // 512 * 512
        size = min(512, len(body) - start)
        body[start:start + size] = chance.randbytes(size) if kind == "torn" else bytes(size)
    else:
        del body[at:]
    file.write_bytes(body)
    return kind


def judge(whole: Path, rows: dict[str, dict[float, object]], folder: Path, seed: int) -> Outcome:
    """Copies a whole log, hurts it, does what the night does, and compares every row."""
    shutil.rmtree(folder, ignore_errors=True)
    shutil.copytree(whole.parent, folder)
    database, told = folder / whole.name, []
    kind = hurt(folder, random.Random(seed))
    try:
        found = check.check(database)
    except Exception as error:  # the present cannot be opened at all
        found = check.Checked(str(error), 0, (), 0)
    sealed = past.Past(past.FolderFiles(past.folder_of(database)))
    for file_kind, number, _ in found.files or tuple(check.check_files(sealed)):
        told.append(mending.describe(file_kind, number, mending.mend(past.folder_of(database), file_kind, number)))
    if found.present:
        told.append(salvage.rescue(database, found.present))
    after = rows_of(database)
    changed = sum(values != rows[table].get(at, values) or at not in rows[table] for table, found_rows in after.items()
                  if table != "events" for at, values in found_rows.items())
    was = set(rows["events"].values())
    changed += sum(event not in was for event in after["events"].values())
    gone = sum(at not in after[table] for table, found_rows in rows.items() if table != "events" for at in found_rows)
    gone += max(len(was) - len(set(after["events"].values())), 0)
    return Outcome(kind, changed, gone, " ".join(told))
