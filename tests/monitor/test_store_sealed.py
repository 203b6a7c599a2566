"""Sealed days: every flipped bit is noticed and costs its block, a kill anywhere costs nothing, readers see one log."""
import os
import shutil
import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path

import pytest

from monitor.logbook.reader import Reader
from monitor.process.maintenance import Maintenance
from monitor.store import backup, check, checksum, mending, past, reading, restoring, sealing, segment, tables, thinning
from monitor.store.columns import BLOB_COLUMNS, TABLE_COLUMNS
from monitor.store.open_log import OpenLog
from monitor.store.past import DAY_MS
from monitor.store.writer import Writer
from tests import store_fixture
from tests.store_fixture import BEGINS_UTC_S

DAYS = 4  # of which two can be sealed


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return store_fixture.fill(tmp_path_factory.mktemp("log") / "ampledger.db", DAYS, beat_s=60.0)


@pytest.fixture(scope="module")
def unsealed(filled: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    database = copy_of(filled, tmp_path_factory.mktemp("unsealed"))
    log = OpenLog(database)
    while thinning.pack_hours(log.sql, DAYS * DAY_MS):
        pass
    log.close()
    return database


def copy_of(database: Path, folder: Path) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    shutil.copy(database, folder / "ampledger.db")
    if past.folder_of(database).exists():
        shutil.copytree(past.folder_of(database), folder / "ampledger.past")
    return folder / "ampledger.db"


def seal_all(database: Path) -> int:
    log, count = OpenLog(database), 0
    try:
        while (number := sealing.due(log.sql, DAYS * DAY_MS)) is not None:
            sealing.seal(log.sql, log.past, number)
            count += 1
    finally:
        log.close()
    return count


@pytest.fixture(scope="module")
def sealed(unsealed: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    database = copy_of(unsealed, tmp_path_factory.mktemp("sealed"))
    assert seal_all(database) == 2
    return database


def everything(database: Path) -> dict[str, list]:
    """All answers of the log's one door."""
    reader = Reader(database)
    return {
        "rows": list(reader.rows()), "span": [reader.span()], "days": reader.days(40), "events": reader.events(), "alerts": reader.alerts(),
        "forecasts": reader.forecasts(), "gaps": reader.gaps(), "now": [reader.now()],
        **{level: list(reader.rows_of_level(level)) for level in ("minutes", "quarters", "hours", "days")},
        **{f"picture of {days:g} days": [reader.series(BEGINS_UTC_S + at * 86400, BEGINS_UTC_S + (at + days) * 86400)]
           for days, at in ((0.04, 0.5), (0.04, 3.5), (1.0, 1.4), (2.0, 1.0), (4.0, 0.0), (30.0, -26.0), (100.0, -96.0),
                            (4000.0, -3990.0))},
    }


@cache
def answers(database: Path) -> dict[str, list]:
    """The same of a log that no test touches, asked once."""
    return everything(database)


def test_the_tables_named_for_checksums_are_the_tables_of_the_log() -> None:
    for table in tables.metadata.sorted_tables:
        names = tuple(column.name for column in table.columns)
        assert names == ((*TABLE_COLUMNS[table.name], "crc") if table.name in TABLE_COLUMNS else BLOB_COLUMNS[table.name])


def test_sealing_changes_no_answer(unsealed: Path, sealed: Path) -> None:
    before, after = answers(unsealed), answers(sealed)
    assert before == after
    with closing(sqlite3.connect(sealed)) as log:
        assert log.execute("select min(end_ms) > ? from minutes", (2 * DAY_MS,)).fetchone() == (1,)
    assert check.check(sealed).sound and check.check(unsealed).sound


def test_a_backlog_that_is_packed_in_parts_seals_no_day_before_all_of_it_is_there(filled: Path, unsealed: Path, tmp_path: Path) -> None:
    database = copy_of(filled, tmp_path)
    log = OpenLog(database)
    for _ in range(5):
        thinning.pack_hours(log.sql, DAYS * DAY_MS, most=30)
        while (number := sealing.due(log.sql, DAYS * DAY_MS)) is not None:
            sealing.seal(log.sql, log.past, number)
    log.close()
    assert past.FolderFiles(past.folder_of(database)).numbers("books") == [0, 1]
    assert everything(database) == answers(unsealed)


def test_rows_that_come_after_their_day_was_sealed_join_it(unsealed: Path, sealed: Path, tmp_path: Path) -> None:
    database = copy_of(unsealed, tmp_path)
    late = {"chunks": "end_ms <= 7200000", "minutes": "end_ms between 3600000 and 7200000",
            "quarters": "end_ms > 80000000 and end_ms <= 86400000"}
    with closing(sqlite3.connect(database)) as log:
        kept = {table: log.execute(f"select * from {table} where {where}").fetchall() for table, where in late.items()}
        for table, where in late.items():
            log.execute(f"delete from {table} where {where}")
        log.commit()
    assert kept["chunks"] and kept["minutes"] and kept["quarters"]
    assert seal_all(database) == 2
    with closing(sqlite3.connect(database)) as log:
        for table, rows in kept.items():
            log.executemany(f"insert into {table} values ({', '.join('?' * len(rows[0]))})", rows)
        log.commit()
    assert seal_all(database) == 1
    assert everything(database) == answers(sealed)


@pytest.mark.parametrize("stops", (0, 2, 4, 5, 8, 10, 12, 13))
def test_a_kill_at_any_step_of_sealing_loses_and_doubles_nothing(unsealed: Path, tmp_path: Path, stops: int) -> None:
    """The process ends, without a goodbye, at the n-th file or statement it touches; the next one begins again."""
    database = copy_of(unsealed, tmp_path)
    pid = os.fork()
    if pid == 0:
        import sys

        left = stops

        def hook(event: str, _: object) -> None:
            nonlocal left
            if event in ("os.rename", "open", "os.mkdir"):
                left -= 1
                if left < 0:
                    os._exit(7)

        log = OpenLog(database)
        sys.addaudithook(hook)
        for number in (0, 1):
            sealing.seal(log.sql, log.past, number)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 7
    assert everything(database) == answers(unsealed)
    assert seal_all(database) >= 1
    assert everything(database) == answers(unsealed) and check.check(database).sound
    assert not list(past.folder_of(database).rglob("*.part"))


def test_every_single_bit_of_a_sealed_file_is_noticed_and_costs_its_block_at_most(sealed: Path, tmp_path: Path) -> None:
    database = copy_of(sealed, tmp_path)
    path = past.path_of(past.folder_of(database), "books", 1)
    whole = path.read_bytes()
    view = past.Past(past.FolderFiles(past.folder_of(database)))
    tell: list[tuple[str, int, int, int]] = []
    right = {level: list(view.rows(level, DAY_MS, 2 * DAY_MS)) for level in ("quarters", "hours")}
    unnoticed = 0
    for bit in range(0, len(whole) * 8, 41):
        hurt = bytearray(whole)
        hurt[bit // 8] ^= 1 << bit % 8
        path.write_bytes(hurt)
        unnoticed += not view.damage("books", 1)
        for level, rows in right.items():
            tell.clear()
            found = list(view.rows(level, DAY_MS, 2 * DAY_MS, damaged=lambda *span: tell.append(span)))
            assert found == rows or (found == [] and (tell or view.damage("books", 1))), f"bit {bit}: a changed row"
    assert unnoticed == 0


@pytest.mark.parametrize("kind", past.KINDS)
def test_a_damaged_page_of_a_sealed_file_is_mended_with_what_is_missing_named(sealed: Path, tmp_path: Path, kind: str) -> None:
    database = copy_of(sealed, tmp_path)
    folder = past.folder_of(database)
    path = past.path_of(folder, kind, 1)
    with open(path, "r+b") as file:
        file.seek(path.stat().st_size // 3 // 512 * 512)
        file.write(b"\xa5" * 512)
    hurt = path.read_bytes()
    ((found_kind, number, spans),) = check.check(database).files
    assert (found_kind, number) == (kind, 1)
    missing = mending.mend(folder, kind, 1)
    assert tuple(missing) == spans and path.with_name("000001.damaged-1").read_bytes() == hurt
    assert check.check(database).sound, "what is missing is known now"
    assert mending.mend(folder, kind, 1) == []
    assert "day 1" in mending.describe(kind, 1, missing)
    told: list[tuple[str, float, float]] = []
    after = {at for at, _ in Reader(database).rows(damaged=lambda a, b: told.append((a, b)))}
    lost = [(at, sample) for at, sample in Reader(sealed).rows() if at not in after]
    assert bool(lost) == (kind == "raw") and len(lost) <= 2 * 60, "an hour, or two where the page lies across"
    assert all(any(a <= at <= b for a, b in told) for at, _ in lost)


def test_a_copy_is_one_file_with_all_of_it_and_comes_back_whole(sealed: Path, tmp_path: Path) -> None:
    proof = backup.backup(sealed, tmp_path / "stick" / "copy.db")
    assert proof.minutes == 1440 * DAYS and proof.damaged_hours == 0
    assert everything(tmp_path / "stick" / "copy.db") == answers(sealed)
    database = copy_of(sealed, tmp_path / "home")
    shutil.rmtree(past.folder_of(database))
    backup.restore(tmp_path / "stick" / "copy.db", database)
    assert everything(database) == answers(sealed) and check.check(database).sound
    plain = tmp_path / "by hand" / "ampledger.db"  # an owner who copies the file back without the command
    plain.parent.mkdir()
    shutil.copy(tmp_path / "stick" / "copy.db", plain)
    OpenLog(plain).close()
    assert everything(plain) == answers(sealed) and past.folder_of(plain).exists()


def test_sealed_days_are_retired_one_a_night_by_what_they_cover(sealed: Path, tmp_path: Path) -> None:
    database = copy_of(sealed, tmp_path)
    log, files = OpenLog(database), past.FolderFiles(past.folder_of(database))
    quarters = len(list(Reader(database).rows_of_level("quarters")))
    thinning.retire(log.sql, log.past, raw_days=4, minute_days=4)
    assert files.numbers("raw") == files.numbers("minutes") == [0, 1]
    thinning.retire(log.sql, log.past, raw_days=2, minute_days=4)
    assert files.numbers("raw") == [1] and files.numbers("minutes") == [0, 1]
    thinning.retire(log.sql, log.past, raw_days=1, minute_days=2)
    assert files.numbers("raw") == [] and files.numbers("minutes") == [1]
    log.close()
    assert len(list(Reader(database).rows_of_level("quarters"))) == quarters
    assert Reader(database).series(BEGINS_UTC_S, BEGINS_UTC_S + 86400).level == "quarters"


def test_the_quick_readings_of_starts_outlive_the_raw_readings_of_their_day(unsealed: Path, tmp_path: Path) -> None:
    database = copy_of(unsealed, tmp_path)
    starts = {day * DAY_MS + 32_000_000: f"[[0.0, 12.{day}]]" for day in (0, 1)}
    with closing(sqlite3.connect(database)) as log:
        log.executemany("insert into cranks (at_ms, crc, body) values (?, ?, ?)", [reading.blob_row(*start) for start in starts.items()])
        log.commit()
    seal_all(database)
    log, raw = OpenLog(database), past.FolderFiles(past.folder_of(database))
    for _ in range(3):
        thinning.retire(log.sql, log.past, raw_days=1)
    log.close()
    sealed_days = past.Past(raw)
    assert list(sealed_days.hours(-1, 2 * DAY_MS)) == [] and dict(sealed_days.lines("cranks")) == starts
    assert check.check(database).sound


def test_rows_under_another_key_or_in_another_table_do_not_pass() -> None:
    row = checksum.add_checksum("gaps", (1000, "starter_voltage_v", "silent", None, 3))
    assert checksum.is_sound("gaps", row) and not checksum.is_sound("gaps", (1001, *row[1:]))
    quarter = checksum.add_checksum("quarters", tuple(range(len(TABLE_COLUMNS["quarters"]))))
    assert checksum.is_sound("quarters", quarter) and not checksum.is_sound("hours", quarter)
    assert not checksum.is_sound("quarters", (*quarter[:5], "text", *quarter[6:])) and not checksum.is_sound("gaps", (b"\0", *row[1:]))


def test_a_file_that_is_no_sealed_file_is_damaged_and_no_crash(tmp_path: Path) -> None:
    folder = tmp_path / "a.past"
    for kind in past.KINDS:
        path = past.path_of(folder, kind, 3)
        path.parent.mkdir(parents=True)
        for junk in (b"", b"x" * 5000, segment.SIGNATURE, segment.MARK * 100):
            path.write_bytes(junk)
            view = past.Past(past.FolderFiles(folder))
            assert view.damage(kind, 3) == [(table, 3 * DAY_MS, 4 * DAY_MS, 0) for table in past.KINDS[kind]]
    assert list(view.rows("minutes", 0, 9 * DAY_MS)) == []


def test_a_row_without_a_checksum_is_damaged_where_every_row_has_one_and_sound_in_an_earlier_log(unsealed: Path, tmp_path: Path) -> None:
    """A sector of zeros over a page makes rows of missing values out of it, the checksum missing with them."""
    database = copy_of(unsealed, tmp_path)
    with closing(sqlite3.connect(database)) as log:
        end, = log.execute("select end_ms from minutes order by end_ms limit 1 offset 100").fetchone()
        log.execute("update minutes set crc = null, house_voltage_mv = null where end_ms = ?", (end,))
        log.commit()
    assert not check.check(database).sound
    assert len(list(Reader(database).rows_of_level("minutes", damaged=lambda *_: None))) == 1440 * DAYS - 1
    with closing(sqlite3.connect(database)) as log:
        log.execute("pragma user_version = 0")
    assert check.check(database).sound
    log = OpenLog(database)  # the row gets its checksum, and from then on every row must have one
    assert not checksum.demand_all(log.sql)
    log.sql(*("update minutes set crc = ? where end_ms = ?", (checksum.add_checksum("minutes", log.sql(
        f"select {', '.join(TABLE_COLUMNS['minutes'])} from minutes where end_ms = ?", (end,)).fetchone())[-1], end)))
    assert checksum.demand_all(log.sql)
    log.close()


def moments(database: Path, told: list[tuple[str, float, float]]) -> set[tuple[str, float]]:
    """(level, moment) of every row that can be read; told: (level, from, to) that the log says is missing."""
    reader = Reader(database)
    found = {("raw", at) for at, _ in reader.rows(damaged=lambda a, b: told.append(("raw", a, b)))}
    for level in ("minutes", "quarters"):
        found |= {(level, end) for _, end, _ in reader.rows_of_level(level, damaged=lambda a, b, level=level: told.append((level, a, b)))}
    return found


def named(gone: set[tuple[str, float]], told: list[tuple[str, float, float]]) -> bool:
    """Whether all that is gone lies in what is said to be missing of its level."""
    return all(any(level == what and a <= at <= b for what, a, b in told) for level, at in gone)


@pytest.mark.parametrize("kind", ("raw", "minutes"))
def test_a_stretch_with_whole_blocks_and_a_part_of_the_contents_that_is_overwritten_is_named(sealed: Path, tmp_path: Path,
                                                                                               kind: str) -> None:
    right, gone = moments(sealed, []), 0
    body = past.path_of(past.folder_of(sealed), kind, 1).read_bytes()
    for place in range(len(body) // 1024 * 1024, 0, -1024):
        database = copy_of(sealed, tmp_path / f"{place}")
        stretch = body[place:place + 2048]
        past.path_of(past.folder_of(database), kind, 1).write_bytes(body[:place] + bytes(len(stretch)) + body[place + len(stretch):])
        mending.mend(past.folder_of(database), kind, 1)
        told: list[tuple[str, float, float]] = []
        left = moments(database, told)
        gone = max(gone, len(right - left))
        assert named(right - left, told), f"from {place} of {len(body)}"
        shutil.rmtree(database.parent)
    assert gone


def a_night(database: Path) -> None:
    writer = Writer(database)
    writer.start()
    Maintenance(writer, database, raw_days=400, backup_to=None, tell=lambda *news: None).night()
    assert writer.close()


def test_a_damaged_day_is_mended_and_told_the_same_night_also_where_the_power_goes_between(sealed: Path, tmp_path: Path) -> None:
    database = copy_of(sealed, tmp_path)
    path = past.path_of(past.folder_of(database), "raw", 1)
    with open(path, "rb") as file:
        place = segment.Segment(file, "raw").blocks[5].place + 3
    body = bytearray(path.read_bytes())
    body[place] ^= 1
    path.write_bytes(body)
    pid = os.fork()
    if pid == 0:
        import sys

        sys.addaudithook(lambda event, what: os._exit(7) if event == "os.rename" and str(what[1]).endswith(".day") else None)
        a_night(database)
        os._exit(0)
    assert os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]) == 7 and path.read_bytes() == body

    def told() -> list[str]:
        return [event.what.message for event in Reader(database).events_of("log_damaged")]

    assert len(told()) == 1 and "Missing: raw readings day 1 " in told()[0] and not check.check(database).sound
    a_night(database)
    assert len(told()) == 2 and check.check(database).sound
    a_night(database)
    assert len(told()) == 2


def test_damage_to_what_only_tells_where_rows_are_costs_none_and_names_none(sealed: Path, tmp_path: Path) -> None:
    right = moments(sealed, [])
    with open(past.path_of(past.folder_of(sealed), "raw", 1), "rb") as file:
        header = segment.Segment(file, "raw").blocks[5].place - 10
        size = file.seek(0, os.SEEK_END)
    for place in (3, header, size - 100, size - 15, size - 2):
        database = copy_of(sealed, tmp_path / f"{place}")
        path = past.path_of(past.folder_of(database), "raw", 1)
        body = bytearray(path.read_bytes())
        body[place] ^= 1
        path.write_bytes(body)
        ((_, _, damage),) = check.check(database).files
        assert "Missing: nothing that was logged" in mending.describe("raw", 1, list(damage))
        assert mending.mend(past.folder_of(database), "raw", 1) == []
        told: list[tuple[str, float, float]] = []
        assert moments(database, told) == right and not told and check.check(database).sound, f"bit in byte {place} of {size}"


@pytest.mark.parametrize("kind", ("raw", "minutes", "books"))
def test_what_a_cut_sealed_file_had_behind_the_cut_is_named(sealed: Path, tmp_path: Path, kind: str) -> None:
    right = moments(sealed, [])
    size = past.path_of(past.folder_of(sealed), kind, 1).stat().st_size
    for part in (0, 30, size // 3, size // 2, size - 3000, size - 400, size - 1):
        database = copy_of(sealed, tmp_path / f"{part}")
        path = past.path_of(past.folder_of(database), kind, 1)
        path.write_bytes(path.read_bytes()[:max(part, 0)])
        mending.mend(past.folder_of(database), kind, 1)
        told: list[tuple[str, float, float]] = []
        left = moments(database, told)
        assert named(right - left, told), f"cut at {part} of {size}"
        assert check.check(database).sound


@pytest.fixture(scope="module")
def other(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return store_fixture.fill(tmp_path_factory.mktemp("other") / "ampledger.db", 0.5, beat_s=60.0)


@pytest.mark.parametrize("step", range(14))
def test_a_restore_that_is_killed_at_any_step_leaves_the_one_log_or_the_other_and_keeps_both(
        sealed: Path, other: Path, tmp_path: Path, step: int) -> None:
    database = copy_of(sealed, tmp_path)
    backup.backup(other, tmp_path / "copy.db")
    pid = os.fork()
    if pid == 0:
        import sys

        left = step

        def hook(event: str, _: object) -> None:
            nonlocal left
            if event in ("os.rename", "os.link", "os.remove", "open", "sqlite3.connect"):
                left -= 1
                if left < 0:
                    os._exit(7)

        backup.check.check(tmp_path / "copy.db")
        sys.addaudithook(hook)
        restoring.put_in_place(tmp_path / "copy.db", database)
        os._exit(0)
    os.waitpid(pid, 0)
    OpenLog(database).close()
    found = everything(database)
    assert found in (answers(sealed), answers(other)) and check.check(database).sound
    if found == answers(other):
        assert everything(tmp_path / "ampledger.before-restore-1.db") == answers(sealed)
    backup.restore(tmp_path / "copy.db", database)
    assert everything(database) == answers(other)
