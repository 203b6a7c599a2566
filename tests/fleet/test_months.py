"""The months' parts of the collection on PostgreSQL: they are made while boards talk, and what has no month is kept all the same."""
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy import Engine, text

from monitor.fleet import database, rounds
from monitor.fleet.publishing import Publisher
from tests import store_fixture
from tests.fleet.lines import NOW_UTC_S, Straight
from tests.fleet.test_publish import SMALL, assert_same, enrol, published

pytestmark = pytest.mark.parametrize("engine", ["postgresql"], indirect=True)


def parts(engine: Engine) -> dict[str, int]:
    """Part -> how many blocks lie in it."""
    with engine.connect() as connection:
        names = connection.execute(text("select relid::regclass::text from pg_partition_tree('blocks') where isleaf")).scalars().all()
        return {name: connection.execute(text(f"select count(*) from {name}")).scalar_one() for name in names}


def forget_months(engine: Engine) -> None:
    """A collection that nobody made room in for longer than is foreseen."""
    with engine.begin() as connection:
        for name in parts(engine):
            if name != "blocks_other":
                connection.execute(text(f"drop table {name}"))


def test_a_collection_has_room_for_the_months_to_come(engine: Engine) -> None:
    found = parts(engine)
    today = date.today()
    assert {f"blocks_{first:%Y_%m}" for first, _ in database.months(today)} | {"blocks_other"} == set(found)
    assert len(database.months(today)) == (today.year - 2025) * 12 + today.month + database.MONTHS_AHEAD


def test_a_month_without_a_part_is_kept_all_the_same(engine: Engine, published_log: Path) -> None:
    """And moves into its own when there is one."""
    forget_months(engine)
    key = enrol(engine)
    published(engine, published_log, key)
    assert_same(engine, published_log)
    before = parts(engine)
    assert set(before) == {"blocks_other"} and before["blocks_other"] > 0
    assert database.make_months(engine, date(2026, 7, 1))
    assert {name: count for name, count in parts(engine).items() if count} == {"blocks_2026_06": before["blocks_other"]}
    assert_same(engine, published_log)
    assert published(engine, published_log, key).publish(lambda: NOW_UTC_S).batches == 0
    assert database.make_months(engine, date(2026, 7, 1)), "there is nothing left to make"


def test_many_boards_talk_at_once_while_the_months_go_on(engine: Engine, published_log: Path) -> None:
    """Months are made one after the other, at first under the very rows that come in; no talk breaks, no row is lost."""
    forget_months(engine)
    boards = 8
    secret = [enrol(engine, f"vehicle-{number}") for number in range(boards)]
    going = threading.Event()

    def talk(number: int) -> int:
        going.wait(20)
        line = Straight(engine, secret[number], f"board-{number}")
        small = SMALL | {"minutes": 60 + 40 * number}
        return Publisher(published_log, line, f"board-{number}", "0.1.0", rows_at_once=small).publish(lambda: NOW_UTC_S).batches

    def make() -> int:
        going.set()
        late = 0
        for month in range(1, 13):
            while not database.make_months(engine, date(2026, month, 1)):
                late += 1
        return late

    with ThreadPoolExecutor(boards + 2) as pool:
        talks = [pool.submit(talk, number) for number in range(boards)]
        making = [pool.submit(make) for _ in range(2)]
        assert all(talked.result() > 10 for talked in talks)
        assert all(made.result() < 20 for made in making)
    for number in range(boards):
        assert_same(engine, published_log, vehicle_id=number + 1)
    assert parts(engine)["blocks_other"] == 0, "its months have parts of their own now"


def test_a_collection_of_the_first_shape_is_brought_to_the_present_one_with_its_rows(engine: Engine, published_log: Path) -> None:
    """Its months' parts were made when a month's first row came; there was none for all others, and no years."""
    with engine.begin() as connection:
        connection.execute(text("drop schema public cascade"))
        connection.execute(text("create schema public"))
        config = Config()
        config.set_main_option("script_location", str(database.FOLDER))
        config.attributes["connection"] = connection
        command.upgrade(config, "0001")
        connection.execute(text("create table blocks_2026_06 partition of blocks for values from ('2026-06-01') to ('2026-07-01')"))
    key = enrol(engine)
    line = Straight(engine, key)
    Publisher(published_log, line, "board-a", "0.1.0", rows_at_once=SMALL).publish(lambda: NOW_UTC_S, lambda: len(line.taken) < 3)
    assert len(line.taken) == 3, "some of it came while it was of the first shape"
    database.upgrade(engine)
    database.upgrade(engine)
    found = parts(engine)
    assert found["blocks_2026_06"] > 0 and found["blocks_other"] == 0 and f"blocks_{date.today():%Y_%m}" in found
    with engine.connect() as connection:
        assert connection.execute(text("select version_num from alembic_version")).scalar_one() == database.HEAD
        assert connection.execute(text("select count(*) from years")).scalar_one() == 0
    published(engine, published_log, key)
    assert_same(engine, published_log)


def test_a_month_in_use_is_made_another_time(engine: Engine, published_log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A long question to the other months holds nothing up: neither boards for long nor alerts."""
    monkeypatch.setattr(database, "LOCK_WAIT_S", 1.0)
    forget_months(engine)
    key = enrol(engine)

    class Silent:
        def offer(self, change: object) -> None: ...

    going = rounds.Rounds(engine, Silent(), None, lambda: store_fixture.BEGINS_UTC_S)
    with engine.begin() as connection:
        connection.execute(text("select count(*) from blocks")).scalar_one()
        going.look()
        published(engine, published_log, key)
    assert set(parts(engine)) == {"blocks_other"}
    going.look()
    assert parts(engine)["blocks_2026_06"] > 0
    assert_same(engine, published_log)
