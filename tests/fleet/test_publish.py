"""From a board's log to the collection: every row once, whatever the connection does, and nothing that is nobody's business."""
import json
import shutil
import sqlite3
import tracemalloc
from contextlib import closing
from pathlib import Path
from random import Random

import pytest
from sqlalchemy import Engine

from monitor.fleet import keys
from monitor.fleet.publishing import Publisher, Refused
from monitor.fleet.view import CollectedReader, CollectedView
from monitor.logbook.reader import Reader
from monitor.store.view import open_view
from tests.fleet.lines import NOW_UTC_S, Flaky, Straight, publish_until_done

SMALL = {"minutes": 500, "quarters": 40, "hours": 9}


def enrol(engine: Engine, name: str = "hilux-07") -> str:
    with engine.begin() as connection:
        return keys.enrol(connection, name, NOW_UTC_S - 100 * 86400)


def published(engine: Engine, log: Path, key: str, **more) -> Publisher:
    publisher = Publisher(log, Straight(engine, key, **more), more.get("board", "board-a"), "0.1.0", rows_at_once=SMALL)
    publisher.publish(lambda: NOW_UTC_S)
    return publisher


def rows_of_log(log: Path) -> dict[str, list[tuple]]:
    with open_view(log) as view:
        found = {level: list(view.rows_of_level(level, -(2**62), 2**62)) for level in ("minutes", "quarters", "hours", "days")}
        return found | {table: view.rows(table) for table in ("boots", "events", "alerts", "gaps", "forecasts")}


def rows_of_collection(engine: Engine, vehicle_id: int = 1, line: int = 1) -> dict[str, list[tuple]]:
    with engine.connect() as connection:
        view = CollectedView(connection, vehicle_id, line)
        found = {level: list(view.rows_of_level(level, -(2**62), 2**62)) for level in ("minutes", "quarters", "hours", "days")}
        order = {"boots": "at_ms", "events": "id", "alerts": "id", "gaps": "from_ms", "forecasts": "at_ms"}
        return found | {table: view.rows(table, f"order by {column}") for table, column in order.items()}


def assert_same(engine: Engine, log: Path, line: int = 1, vehicle_id: int = 1) -> None:
    wanted, found = rows_of_log(log), rows_of_collection(engine, vehicle_id, line)
    assert {k: len(v) for k, v in found.items()} == {k: len(v) for k, v in wanted.items()}
    for table, rows in wanted.items():
        assert [tuple(row) for row in found[table]] == sorted(tuple(row) for row in rows), table


def test_every_row_arrives_once_and_a_second_talk_sends_nothing(engine: Engine, published_log: Path) -> None:
    key = enrol(engine)
    publisher = published(engine, published_log, key)
    assert_same(engine, published_log)
    assert publisher.publish(lambda: NOW_UTC_S).batches == 0


def test_the_pages_ask_the_collection_as_they_ask_the_log(engine: Engine, published_log: Path) -> None:
    published(engine, published_log, enrol(engine))
    mine, theirs = Reader(published_log), CollectedReader(engine, 1, 1, "hilux-07")
    assert theirs.span() == mine.span()
    first, last = mine.span()
    for span in ((first, last), (last - 30 * 3600, last - 3600)):
        assert theirs.series(*span, 200) == mine.series(*span, 200)
    assert theirs.days(2) == mine.days(2)
    assert theirs.events() == mine.events()
    assert theirs.alerts() == mine.alerts()
    assert theirs.alerts(open_only=True) == mine.alerts(open_only=True) != []
    assert theirs.forecasts(most=5) == mine.forecasts(most=5) != []
    assert theirs.gaps() == mine.gaps() != []
    assert theirs.now().findings == mine.now().findings
    assert theirs.now().sample.house_voltage_v == pytest.approx(mine.now().sample.house_voltage_v, abs=0.05)


@pytest.mark.parametrize("seed", range(6))
def test_a_connection_that_breaks_anywhere_changes_nothing(engine: Engine, published_log: Path, seed: int) -> None:
    line = Flaky(Straight(engine, enrol(engine)), Random(seed))
    publisher = Publisher(published_log, line, "board-a", "0.1.0", rows_at_once=SMALL)
    tries = publish_until_done(lambda: publisher.publish(lambda: NOW_UTC_S))
    assert tries > 0, "this chance broke nothing"
    assert_same(engine, published_log)


def test_a_log_that_was_put_back_goes_on_from_where_both_agree(engine: Engine, published_log: Path, tmp_path: Path) -> None:
    key = enrol(engine)
    published(engine, published_log, key)
    log = tmp_path / "ampledger.db"
    shutil.copytree(published_log.parent, tmp_path, dirs_exist_ok=True)
    at_ms = round(1.4 * 86400_000)
    cut_log(log, at_ms)
    published(engine, log, key)
    assert_same(engine, log)
    given_up = rows_of_collection(engine, line=-1)["minutes"]
    kept = rows_of_log(log)["minutes"]
    assert kept + given_up == rows_of_log(published_log)["minutes"], "what the board no longer knows stays in the collection"


def test_a_new_log_begins_a_new_line_and_the_old_one_stays(engine: Engine, published_log: Path, tmp_path: Path) -> None:
    from tests import store_fixture

    key = enrol(engine)
    published(engine, published_log, key)
    other = store_fixture.fill(tmp_path / "other" / "ampledger.db", 1, beat_s=60.0, seed=5)
    published(engine, other, key)
    assert_same(engine, other, line=2)
    assert_same(engine, published_log, line=1)


def test_strangers_and_second_boards_are_turned_away_in_a_sentence(engine: Engine, published_log: Path) -> None:
    key = enrol(engine)
    published(engine, published_log, key)
    for given, board, word in (("amp-nobody", "board-a", "key"), (key, "board-b", "board")):
        with pytest.raises(Refused) as refused:
            Publisher(published_log, Straight(engine, given, board), board, "0.1.0").publish(lambda: NOW_UTC_S)
        assert refused.value.word == word and str(refused.value).endswith(".")
    with engine.begin() as connection:
        keys.move(connection, "hilux-07")
    assert published(engine, published_log, key, board="board-b").publish(lambda: NOW_UTC_S).batches == 0
    with engine.begin() as connection:
        keys.revoke(connection, "hilux-07", NOW_UTC_S)
    with pytest.raises(Refused, match="was taken back on 2026"):
        published(engine, published_log, key, board="board-b")
    assert_same(engine, published_log)


def test_a_clock_in_another_century_is_refused_and_nothing_is_lost_when_it_is_right_again(
        engine: Engine, published_log: Path, tmp_path: Path) -> None:
    key = enrol(engine)
    shutil.copytree(published_log.parent, tmp_path, dirs_exist_ok=True)
    log = tmp_path / "ampledger.db"
    _date(log, 100 * 365 * 86400_000)
    with pytest.raises(Refused, match="set the board's clock") as refused:
        published(engine, log, key)
    assert refused.value.word == "date"
    assert rows_of_collection(engine)["minutes"] == []
    _date(log, -100 * 365 * 86400_000)
    published(engine, log, key)
    assert_same(engine, published_log)


def test_publishing_takes_little_memory(published_log: Path) -> None:
    """A batch at a time, however much waits: the log's three days here, twenty elsewhere, were 7.5 MB at the most."""
    class Taker:
        """Takes everything and keeps nothing."""

        number = 0

        def ask(self, place: str, data: bytes | None = None) -> tuple[int, dict]:
            if data is None:
                return 200, {"number": self.number, "cursors": {}, "known": {}}
            self.number += 1
            return 200, {"number": self.number, "again": False}

    Publisher(published_log, Taker(), "board-a", "0.1.0").publish(lambda: NOW_UTC_S)  # what is imported on the way is not counted
    tracemalloc.start()
    try:
        sent = Publisher(published_log, Taker(), "board-a", "0.1.0").publish(lambda: NOW_UTC_S)
        peak_bytes = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert sent.batches >= 2 and peak_bytes < 16e6


def test_place_and_names_stay_on_the_board(engine: Engine, published_log: Path) -> None:
    published(engine, published_log, enrol(engine))
    with engine.connect() as connection:
        words = dict(CollectedView(connection, 1, 1).rows("meta"))
    assert set(words) <= {"vehicle", "simulated", "sources", "wiring", "batteries"}
    assert json.loads(words["vehicle"])["latitude_deg"] is None


def cut_log(log: Path, at_ms: int) -> None:
    """The log as a copy from an earlier moment would be."""
    with closing(sqlite3.connect(log)) as connection, connection:
        for table, column in (("minutes", "end_ms"), ("quarters", "end_ms"), ("hours", "end_ms"), ("days", "end_ms"),
                              ("forecasts", "at_ms"), ("events", "at_ms"), ("alerts", "at_ms"), ("gaps", "from_ms")):
            connection.execute(f"delete from {table} where {column} > ?", (at_ms,))


def _date(log: Path, by_ms: int) -> None:
    from monitor.store.checksum import add_checksum, columns_of, insert_of

    with closing(sqlite3.connect(log)) as connection, connection:
        for row in connection.execute(f"select {columns_of('boots')} from boots").fetchall():
            connection.execute(insert_of("boots"), add_checksum("boots", (*row[:2], row[2] + by_ms, *row[3:-1])))
