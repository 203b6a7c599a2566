"""Packed hours: every row comes back, every flipped bit is noticed, every measure of size is kept."""
import gzip
import random
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.logbook.reader import Reader
from monitor.sample import Sample
from monitor.store import chunks, thinning
from monitor.store.batch import Batch
from monitor.store.columns import RAW_COLUMNS
from monitor.store.open_log import OpenLog
from monitor.store.sample_rows import sample_row
from monitor.store.write_queue import WriteQueue

RECORDINGS = Path(__file__).parent.parent / "recordings"
DAY_MS, HOUR_MS = thinning.DAY_MS, thinning.HOUR_MS
VALUE = st.none() | st.integers(-(2**31), 2**31 - 1)


def hour_of_a_drive(name: str = "agm-camp", rows: int = 3600, skip: int = 5000) -> list[tuple]:
    """Rows of a recorded drive as they are stored."""
    found = []
    with gzip.open(RECORDINGS / name / "readings.csv.gz", "rt") as file:
        head = next(file).strip().split(",")
        for i, line in enumerate(file):
            if i < skip:
                continue
            row = dict(zip(head, line.strip().split(",")))
            value = {k: float(v) if v else None for k, v in row.items()}
            found.append(sample_row(Sample(value["t_s"], value["house_v"], value["house_a"], value["starter_v"], value["house_temp_c"])))
            if len(found) == rows:
                break
    return found


@settings(max_examples=100)
@given(st.lists(st.tuples(st.integers(1, 10**6), *[VALUE] * len(RAW_COLUMNS)), min_size=1, max_size=50))
def test_whatever_fits_32_bits_comes_back_exactly(rows: list[tuple]) -> None:
    at, whole = 0, []
    for step, *values in rows:
        at += step
        whole.append((at, *values))
    assert chunks.unpack(*chunks.pack(whole)) == whole


def test_every_flipped_bit_of_an_hour_is_noticed() -> None:
    """Each single bit of the body, of the times and of the count: CRC-32 detects all single-bit errors."""
    at, end, count, crc, body = chunks.pack(hour_of_a_drive(rows=600))
    for place in range(len(body) * 8):
        hurt = bytearray(body)
        hurt[place // 8] ^= 1 << place % 8
        with pytest.raises(chunks.Damaged):
            chunks.unpack(at, end, count, crc, bytes(hurt))
    for wrong in ((at + 1, end, count), (at, end ^ 4, count), (at, end, count - 1)):
        with pytest.raises(chunks.Damaged):
            chunks.unpack(*wrong, crc, body)
    assert crc != zlib.crc32(body)  # the place is part of it: a chunk moved to another hour is noticed


def test_garbage_is_never_taken_for_readings() -> None:
    chance = random.Random(7)
    at, end, count, crc, body = chunks.pack(hour_of_a_drive(rows=600))
    for _ in range(300):
        start, length = chance.randrange(len(body)), chance.randrange(1, 200)
        hurt = body[:start] + chance.randbytes(length) + body[start + length:]
        if hurt != body:
            with pytest.raises(chunks.Damaged):
                chunks.unpack(at, end, count, crc, hurt)


def test_a_reading_needs_few_bytes() -> None:
    """Recorded drives at their own rate; a row of 64-bit numbers would be 66 bytes and more."""
    rows = hour_of_a_drive()
    body = chunks.pack(rows)[-1]
    assert len(body) / len(rows) < 6.0


def test_hours_are_packed_whole_and_read_as_before(tmp_path: Path) -> None:
    log = OpenLog(tmp_path / "ampledger.db")
    samples = [Sample(float(at), 12.5 + at % 7 / 1000, -1.0) for at in range(0, 5 * 3600 + 10, 2)]
    pending = WriteQueue()
    pending.add(Batch(samples=tuple(samples)))
    log.sql("insert into boots values (0, 'b', 0, 0.0, 1, 'test', 0.0, 0.0, 0, null)")
    log.write(pending)
    before = list(Reader(tmp_path / "ampledger.db").rows(-1))
    assert thinning.pack_hours(log.sql, 5 * thinning.HOUR_MS) == 4  # the moment 0 ends an hour of its own
    assert log.sql("select count(*) from chunks").fetchone()[0] == 4
    assert log.sql("select min(at_ms) from samples").fetchone()[0] == 3 * 3600_000 + 2000
    assert list(Reader(tmp_path / "ampledger.db").rows(-1)) == before
    assert thinning.pack_hours(log.sql, 5 * thinning.HOUR_MS) == 0
    log.close()


def filled(database: Path, days: float, jump_days: float = 0.0, at_day: float = 0.0) -> OpenLog:
    """A log with a packed hour for each hour and a minute for each minute of life; the line of time leaps once by jump_days."""
    log = OpenLog(database)
    moment = lambda ms: ms + (round(jump_days * DAY_MS) if ms >= at_day * DAY_MS else 0)  # noqa: E731
    log.sql("begin")
    for i in range(round(days * 24)):
        log.sql("insert into chunks values (?, ?, 1, 0, x'00')", (moment(i * HOUR_MS), moment(i * HOUR_MS) + HOUR_MS))
    names = ", ".join(("end_ms", "start_ms"))
    for i in range(round(days * 1440)):
        log.sql(f"insert into minutes ({names}) values (?, ?)", (moment(i * 60000) + 60000, moment(i * 60000)))
    log.sql("commit")
    return log


def count(log: OpenLog, table: str) -> int:
    return log.sql(f"select count(*) from {table}").fetchone()[0]


def test_a_night_drops_one_lived_day_at_most_and_roll_ups_stay(tmp_path: Path) -> None:
    from tests import store_fixture

    database = store_fixture.fill(tmp_path / "a.db", 2.0, beat_s=120.0)
    log = OpenLog(database)
    thinning.pack_hours(log.sql, 2 * DAY_MS)
    quarters = count(log, "quarters")
    for _ in range(6):
        before = count(log, "minutes"), count(log, "chunks")
        thinning.retire(log.sql, log.past, raw_days=0, minute_days=0)
        assert before[0] - count(log, "minutes") <= 1440 and before[1] - count(log, "chunks") <= 26
    assert count(log, "chunks") == count(log, "minutes") == 0
    assert count(log, "quarters") == quarters > 180
    log.close()
    series = Reader(database).series(store_fixture.BEGINS_UTC_S, store_fixture.BEGINS_UTC_S + 2 * 86400)
    assert series.level == "quarters" and len(series.columns["at_utc_s"]) >= 190


@pytest.mark.parametrize("jump_days", [0.0, 1 / 24, 500.0, 50 * 365.25])
def test_a_leap_of_the_line_of_time_makes_nothing_old(tmp_path: Path, jump_days: float) -> None:
    """Ten days of life, and one boot that the clock put so many days later: every minute and every packed hour stays."""
    log = filled(tmp_path / "a.db", 10.0, jump_days, at_day=9.99)
    for _ in range(30):
        thinning.retire(log.sql, log.past, raw_days=10)
    assert count(log, "chunks") == 240 and count(log, "minutes") == 14400
    thinning.retire(log.sql, log.past, raw_days=7, minute_days=7)
    assert count(log, "chunks") == 240 - 24 and count(log, "minutes") == 14400 - 1440
    log.close()


@pytest.mark.parametrize("jump_days", [0.0, 500.0])
def test_in_need_the_oldest_raw_hours_go_first_and_the_latest_lived_week_stays(tmp_path: Path, jump_days: float) -> None:
    log = filled(tmp_path / "a.db", 20.0, jump_days, at_day=19.5)
    assert "raw readings" in thinning.in_need(log.sql, log.past)
    assert log.sql("select min(at_ms) from chunks").fetchone()[0] >= DAY_MS and count(log, "minutes") == 20 * 1440
    while thinning.in_need(log.sql, log.past):
        pass
    assert count(log, "chunks") == 7 * 24 and count(log, "minutes") == 7 * 1440
    log.close()
