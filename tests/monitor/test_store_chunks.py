"""Packed hours: every row comes back, every flipped bit is noticed, every measure of size is kept."""
import gzip
import random
import zlib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.sample import Sample
from monitor.store import chunks, thinning
from monitor.store.batch import Batch
from monitor.store.columns import RAW_COLUMNS
from monitor.store.open_log import OpenLog
from monitor.store.reader import Reader
from monitor.store.rows import sample_row
from monitor.store.write_queue import Pending

RECORDINGS = Path(__file__).parent.parent / "recordings"
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
    pending = Pending()
    pending.add(Batch(samples=tuple(samples)))
    log.sql("insert into boots values (0, 'b', 0, 0.0, 1, 'test', 0.0, 0.0, 0)")
    log.write(pending)
    before = list(Reader(tmp_path / "ampledger.db").rows(-1))
    assert thinning.pack_hours(log.sql, 5 * thinning.HOUR_MS) == 4  # the moment 0 ends an hour of its own
    assert log.sql("select count(*) from chunks").fetchone()[0] == 4
    assert log.sql("select min(at_ms) from samples").fetchone()[0] == 3 * 3600_000 + 2000
    assert list(Reader(tmp_path / "ampledger.db").rows(-1)) == before
    assert thinning.pack_hours(log.sql, 5 * thinning.HOUR_MS) == 0
    log.close()


def test_old_rows_are_retired_and_roll_ups_stay(tmp_path: Path) -> None:
    from tests import store_fixture

    database = store_fixture.fill(tmp_path / "a.db", 1.0, beat_s=120.0)
    log = OpenLog(database)
    thinning.pack_hours(log.sql, 86_400_000)
    quarters = log.sql("select count(*) from quarters").fetchone()[0]
    thinning.retire(log.sql, 86_400_000 + 10 * 86_400_000, raw_days=10, minute_days=10)
    assert log.sql("select count(*) from chunks").fetchone()[0] == 0
    assert log.sql("select count(*) from minutes").fetchone()[0] == 0
    assert log.sql("select count(*) from quarters").fetchone()[0] == quarters > 90
    log.close()
    series = Reader(database).series(store_fixture.BEGINS_UTC_S, store_fixture.BEGINS_UTC_S + 86400)
    assert series.level == "quarters" and len(series.columns["at_utc_s"]) >= 95


def test_in_need_the_oldest_raw_hours_go_first_and_the_latest_week_stays(tmp_path: Path) -> None:
    log = OpenLog(tmp_path / "a.db")
    day = 86_400_000
    log.sql("begin")
    for i in range(20 * 24):
        log.sql("insert into chunks values (?, ?, 1, 0, x'00')", (i * 3_600_000, (i + 1) * 3_600_000))
    log.sql("commit")
    assert "raw readings" in thinning.in_need(log.sql, 20 * day)
    assert log.sql("select min(at_ms) from chunks").fetchone()[0] >= day
    while thinning.in_need(log.sql, 20 * day):
        pass
    assert log.sql("select min(end_ms) from chunks").fetchone()[0] == 13 * day + 3_600_000
    log.close()
