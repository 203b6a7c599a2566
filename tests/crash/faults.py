"""Faults put into the files of a log: flipped bits, torn and lost pages, cut ends; then a start and the night's work, then every
row looked at."""
import random
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

from monitor import pipeline
from monitor.alerts import rules
from monitor.logbook import resume
from monitor.logbook.reader import Reader
from monitor.sampling.gather import Gathering
from monitor.store import check, checksum, chunks, mending, past, salvage, sealing, thinning, transaction
from monitor.store.open_log import OpenLog
from monitor.store.past import DAY_MS
from monitor.store.state import State
from monitor.store.view import open_view
from tests import store_fixture

DAYS, BEAT_S = 3, 120.0
LEVELS = ("minutes", "quarters", "hours", "days")
TABLES = ("events", "alerts", "gaps", "forecasts", "boots", "meta")
#: words that a salvage itself changes
OWN_WORDS = ("damage",)
Rows = dict[str, dict[object, object]]


@dataclass(frozen=True)
class Outcome:
    """What a fault led to: rows that are not as they were written, rows that are gone, of these such as nobody named, and what was
    said of it."""

    kind: str
    changed: int
    gone: int
    unnamed: int
    told: str
    first_changed: str = ""

    @property
    def good(self) -> bool:
        """Every row right, or named as missing."""
        return not self.changed and not self.unnamed


def whole_log(folder: Path, running: bool = False, beat_s: float = BEAT_S) -> Path:
    """A log of some days, of which the first are sealed; running: as it lies while a daemon writes, half of it in its write-ahead log."""
    database = store_fixture.fill(folder / "ampledger.db", DAYS, beat_s=beat_s)
    log = OpenLog(database)
    while thinning.pack_hours(log.sql, DAYS * DAY_MS):
        pass
    while (number := sealing.due(log.sql, DAYS * DAY_MS)) is not None:
        sealing.seal(log.sql, log.past, number)
    log.close()
    return _as_it_runs(database) if running else database


def _as_it_runs(database: Path) -> Path:
    """The last half day written once more into a write-ahead log that is not closed."""
    aside = database.with_name("running")
    aside.mkdir()
    log = OpenLog(database)
    sql = log.sql
    sql("pragma wal_autocheckpoint = 0")
    since = (DAYS * 24 - 12) * 3_600_000
    keys = {"minutes": "end_ms", "quarters": "end_ms", "chunks": "end_ms", "samples": "at_ms", "hours": "end_ms"}
    kept = {table: sql(f"select {key}, * from {table} where {key} > ? order by {key}", (since,)).fetchall() for table, key in keys.items()}
    for table, key in keys.items():
        sql(f"delete from {table} where {key} > ?", (since,))
    for _, *chunk in kept.pop("chunks"):  # rows are loose when they are committed, and packed later
        kept["samples"] += [(row[0], *checksum.add_checksum("samples", row)) for row in chunks.unpack(*chunk)]
    sql("pragma wal_checkpoint(truncate)")
    for from_ms in range(since, DAYS * DAY_MS, 1_200_000):
        sql("begin immediate")
        for table, rows in kept.items():
            for row in (row[1:] for row in rows if from_ms < row[0] <= from_ms + 1_200_000):
                sql(f"insert or replace into {table} values ({', '.join('?' * len(row))})", tuple(row))
        sql("insert into tracker_state select max(generation) + 1, 2, at_ms, format, 0, x'00' from tracker_state")  # a row that is no state
        sql("commit")
    log.place = transaction.place_of(log.sql)
    log._note_commit()
    for file in database.parent.iterdir():
        if file.is_file() and file.suffix != ".lock":
            shutil.copy(file, aside / file.name)
    log.close()
    shutil.copytree(past.folder_of(database), past.folder_of(aside / database.name))
    return aside / database.name


def rows_of(database: Path) -> Rows:
    """Every row of every level, every reading, and every row of the small tables, by its key."""
    reader, ignore = Reader(database), lambda *_: None
    found: Rows = {level: {end: values for _, end, values in reader.rows_of_level(level, damaged=ignore)} for level in LEVELS}
    found["raw"] = dict(reader.rows(damaged=ignore))
    with open_view(database) as log:
        for table in TABLES:
            key = 2 if table == "gaps" else 1
            found[table] = {row[:key]: row for row in log.rows(table) if "log_damaged" not in row and row[0] not in OWN_WORDS
                            and not str(row[1]).startswith("log: ")}
    return found


def missing_of(database: Path) -> list[tuple[str, float, float]]:
    """(what, from, until [UTC]) that the log itself says is missing, in its gaps and its sealed files."""
    found: list[tuple[str, float, float]] = []
    reader = Reader(database)
    for gap in reader.gaps():
        if gap.what.quantity.startswith("log: "):
            found.append((gap.what.quantity[5:], gap.at_utc_s, gap.until_utc_s or 1e12))
    for _ in reader.rows(damaged=lambda a, b: found.append(("raw readings", a, b))):
        pass
    for level in LEVELS:
        for _ in reader.rows_of_level(level, damaged=lambda a, b, level=level: found.append((level, a, b))):
            pass
    return found


def hurt(folder: Path, chance: random.Random) -> str:
    """One fault in one file of a log, by weight of bytes; returns its kind."""
    files = sorted(f for f in folder.rglob("*") if f.is_file() and f.name.endswith((".db", ".db-wal", ".db-shm", ".db.commits", ".day")))
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
    return f"{kind} in {'sealed day' if file.suffix == '.day' else file.name}"


def judge(whole: Path, rows: Rows, folder: Path, seed: int) -> Outcome:
    """Copies a whole log, hurts it, does what a start and the night do, and compares every row."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    database, told = folder / whole.name, []
    for file in whole.parent.iterdir():
        if file.name.startswith(whole.name) and file.suffix != ".ballast":
            shutil.copy(file, folder)
    shutil.copytree(past.folder_of(whole), past.folder_of(database))
    kind = hurt(folder, random.Random(seed))
    return look(rows, database, kind, told)


def look(rows: Rows, database: Path, kind: str, told: list[str]) -> Outcome:
    """What a start and the night make of a log that was hurt."""
    fresh = State(pipeline.begin(store_fixture.VEHICLE), rules.begin(), Gathering())
    found = resume.read(database, fresh)
    if found.trouble == "damaged":
        told.append(salvage.rescue(database, found.why))
        found = resume.read(database, fresh)
    end_s = found.last.at_s if found.last else 0.0
    if found.tail_lost_s:
        told.append(f"Missing: what was written after {end_s}")
    sealed = past.Past(past.FolderFiles(past.folder_of(database)))
    try:
        checked = check.check(database)
    except Exception as error:  # the present cannot be opened at all
        checked = check.Checked(str(error), 0, tuple(check.check_files(sealed)), 0)
    for file_kind, number, _ in checked.files:
        told.append(mending.describe(file_kind, number, mending.mend(past.folder_of(database), file_kind, number)))
    if checked.present:
        told.append(salvage.rescue(database, checked.present))
    return compare(rows, database, kind, " ".join(told), found.tail_lost_s > 0, end_s + store_fixture.BEGINS_UTC_S)


def compare(rows: Rows, database: Path, kind: str, told: str, tail_lost: bool, end_utc_s: float) -> Outcome:
    """Every row against what was written."""
    after = rows_of(database)
    missing = missing_of(database) if after != rows else []
    changed, gone, unnamed, first = 0, 0, 0, ""
    for table, was in rows.items():
        for key, values in after[table].items():
            if (key not in was or values != was[key]) and not _is_short(table, key, missing):
                changed, first = changed + 1, first or f"{table} {key}: {was.get(key)} became {values}"
        lost = [key for key in was if key not in after[table]]
        gone += len(lost)
        if not lost or (table in (*TABLES, "days") and re.search(rf"Missing: [^.]*\b{table}\b", told)):
            continue  # named, as rows that nobody can count
        names = {"raw": ("raw", "raw readings"), "minutes": ("minutes",)}.get(table, (table, "minutes", "quarters"))
        for key in lost:
            unnamed += table in TABLES or not (
                (tail_lost and key > end_utc_s) or _is_short(table, key, missing)
                or any(what in names and first <= key <= until for what, first, until in missing))
    return Outcome(kind, changed, gone, unnamed, told, first)


def _is_short(level: str, end_utc_s: object, missing: list[tuple[str, float, float]]) -> bool:
    """Whether a roll-up was worked out anew from minutes of which some are named as missing."""
    steps = {"quarters": 900.0, "hours": 3600.0, "days": 1.5 * 86400}
    return level in steps and isinstance(end_utc_s, float) and any(
        what in ("minutes", "quarters") and first < end_utc_s and until > end_utc_s - steps[level] for what, first, until in missing)

