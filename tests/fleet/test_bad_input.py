"""What may go wrong between board and collector, each over HTTP: one clear refusal, nothing lost on either side, the board goes on."""
import shutil
from hashlib import sha256
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, text

from monitor.fleet import keys
from monitor.fleet.batch import FleetBatch, Part, columns_part, encode
from monitor.fleet.publishing import Https, NoConnection, Publisher, Refused
from monitor.fleet.unsent import Cursors, Privacy, next_parts
from monitor.fleet.view import CollectedView
from monitor.store import column_codec
from monitor.store.columns import TABLE_COLUMNS
from monitor.store.view import open_view
from tests.fleet.lines import NOW_UTC_S
from tests.fleet.test_publish import _date, assert_same, enrol, rows_of_collection
from tests.fleet.test_site import _served, client_of

pytestmark = pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
CENTURY_MS = 100 * 365 * 86400_000


def publisher(log: Path, url: str, key: str, board: str = "board-a", line: Any = None) -> Publisher:
    return Publisher(log, line or Https(url, key, board), board, "0.1.0")


def refused(who: Publisher) -> Refused:
    with pytest.raises(Refused) as found:
        who.publish(lambda: NOW_UTC_S)
    sentence = str(found.value)
    assert sentence.endswith(".") and len(sentence) < 300 and "\n" not in sentence
    return found.value


def shown(engine: Engine) -> str:
    """What the fleet's page of the vehicle says."""
    return unescape(client_of(engine, "see").get("/about/hilux-07").get_data(as_text=True))


def digest(log: Path) -> str:
    return sha256(log.read_bytes()).hexdigest()


def test_a_strangers_key(engine: Engine, published_log: Path) -> None:
    key, before = enrol(engine), digest(published_log)
    with _served(engine) as url:
        error = refused(publisher(published_log, url, "amp-stranger"))
        assert error.word == "key" and "`ampledger fleet enrol NAME`" in str(error)
        assert rows_of_collection(engine)["minutes"] == [] and "TURNED AWAY" not in shown(engine)
        publisher(published_log, url, key).publish(lambda: NOW_UTC_S)
    assert_same(engine, published_log)
    assert digest(published_log) == before, "publishing writes nothing to the board's card"


def test_a_key_that_was_taken_back(engine: Engine, published_log: Path) -> None:
    key = enrol(engine)
    with _served(engine) as url:
        with engine.begin() as connection:
            keys.revoke(connection, "hilux-07", NOW_UTC_S)
        assert refused(publisher(published_log, url, key)).word == "revoked"
        with engine.begin() as connection:
            key = keys.renew(connection, "hilux-07")
        publisher(published_log, url, key).publish(lambda: NOW_UTC_S)
    assert_same(engine, published_log)


def test_a_clock_in_another_century(engine: Engine, published_log: Path, tmp_path: Path) -> None:
    key = enrol(engine)
    shutil.copytree(published_log.parent, tmp_path, dirs_exist_ok=True)
    log = tmp_path / "ampledger.db"
    _date(log, CENTURY_MS)
    with _served(engine) as url:
        error = refused(publisher(log, url, key))
        assert error.word == "date" and "set the board's clock" in str(error) and "2126" in str(error)
        assert str(error) in shown(engine), "whoever runs the fleet reads the same"
        assert rows_of_collection(engine)["minutes"] == []
        _date(log, -CENTURY_MS)
        publisher(log, url, key).publish(lambda: NOW_UTC_S)
    assert_same(engine, published_log)
    assert "TURNED AWAY" not in shown(engine)


def test_a_card_copied_into_a_second_board(engine: Engine, published_log: Path, tmp_path: Path) -> None:
    key = enrol(engine)
    clone = tmp_path / "clone" / "ampledger.db"
    shutil.copytree(published_log.parent, clone.parent)
    with _served(engine) as url:
        publisher(published_log, url, key).publish(lambda: NOW_UTC_S)
        error = refused(publisher(clone, url, key, board="board-b"))
        assert error.word == "board" and "ampledger fleet move hilux-07" in str(error) and str(error) in shown(engine)
        assert publisher(published_log, url, key).publish(lambda: NOW_UTC_S).batches == 0, "the first goes on"
        with engine.begin() as connection:
            second = keys.enrol(connection, "hilux-08", NOW_UTC_S)
        publisher(clone, url, second, board="board-b").publish(lambda: NOW_UTC_S)
    assert_same(engine, published_log)
    assert_same(engine, clone, vehicle_id=2)


def test_batches_out_of_order(engine: Engine, published_log: Path) -> None:
    key = enrol(engine)
    first, second = _two_batches(published_log)
    with _served(engine) as url:
        line = Https(url, key, "board-a")
        status, answer = line.ask("/fleet/v1/batches", second)
        assert (status, answer["word"]) == (409, "number") and "Batch 2 came where batch 1 is due" in answer["sentence"]
        assert line.ask("/fleet/v1/batches", first)[1] == {"number": 1, "again": False}
        assert line.ask("/fleet/v1/batches", first)[1] == {"number": 1, "again": True}, "twice is once"
        assert line.ask("/fleet/v1/batches", second)[1] == {"number": 2, "again": False}
        status, answer = line.ask("/fleet/v1/batches", first)
        assert (status, answer["word"]) == (409, "number"), "an old one again"
        publisher(published_log, url, key).publish(lambda: NOW_UTC_S)
    assert_same(engine, published_log)


def _two_batches(log: Path) -> tuple[bytes, bytes]:
    found, at = [], Cursors()
    with open_view(log) as view:
        for number in (1, 2):
            unsent = next_parts(view, at, Privacy(), {"minutes": 500, "quarters": 40, "hours": 9})
            at = unsent.cursors
            found.append(encode(FleetBatch("board-a", number, NOW_UTC_S, "0.1.0", unsent.parts, at.as_plain())))
    return found[0], found[1]


class Altered:
    """A board of another version: what it sends is changed on the way."""

    def __init__(self, line: Https, old: bytes, new: bytes) -> None:
        self._line, self._old, self._new = line, old, new

    def ask(self, place: str, data: bytes | None = None) -> tuple[int, dict[str, Any]]:
        return self._line.ask(place, None if data is None else data.replace(self._old, self._new, 1))


def test_a_later_version(engine: Engine, published_log: Path) -> None:
    key = enrol(engine)
    with _served(engine) as url:
        later = Altered(Https(url, key, "board-a"), b'"format":1', b'"format":2')
        error = refused(publisher(published_log, url, key, line=later))
        assert error.word == "bad-batch" and "install the newer ampledger on the collector" in str(error)
        assert str(error) in shown(engine) and rows_of_collection(engine)["minutes"] == []
        publisher(published_log, url, key).publish(lambda: NOW_UTC_S)
    assert_same(engine, published_log)


def test_an_older_version_and_one_with_a_column_more(engine: Engine, published_log: Path) -> None:
    """Minutes without the last column, then with one that nobody knows here: what both know is kept, and the rest is not invented."""
    key = enrol(engine)
    names = list(TABLE_COLUMNS["minutes"])
    with open_view(published_log) as view:
        minutes = [tuple(row) for row in view.rows_of_level("minutes", -(2**62), 2**62)][:200]
        boots = next_parts(view, Cursors(), Privacy(), {"minutes": 1, "quarters": 1, "hours": 1}).parts
    known = tuple(p for p in boots if p.table in ("boots", "meta"))
    older, later = [row[:-1] for row in minutes[:100]], [(*row, 7) for row in minutes[100:]]
    sent = (known + (_part(older, names[:-1]),), (_part(later, [*names, "sunspots"]),))
    with _served(engine) as url:
        line = Https(url, key, "board-a")
        for number, parts in enumerate(sent, 1):
            status, answer = line.ask("/fleet/v1/batches", encode(FleetBatch("board-a", number, NOW_UTC_S, "x", parts, {})))
            assert status == 200, answer
    with engine.connect() as connection:
        found = list(CollectedView(connection, 1, 1).rows_of_level("minutes", -(2**62), 2**62))
    assert found == [(*row[:-1], None) for row in minutes[:100]] + minutes[100:]


def _part(rows: list[tuple[int | None, ...]], names: list[str]) -> Part:
    whole = columns_part("minutes", rows)
    return Part("minutes", "columns", tuple(names), whole.count, whole.first_ms, whole.end_ms, column_codec.pack(rows))


@pytest.mark.parametrize("table", ["vehicles", "blocks", "people"])
def test_a_database_in_trouble_is_a_sentence_on_pages_and_no_refusal_for_boards(engine: Engine, published_log: Path, table: str) -> None:
    key = enrol(engine)
    client = client_of(engine, "see")
    with _served(engine) as url:
        who = publisher(published_log, url, key)
        with engine.begin() as connection:
            connection.execute(text(f"alter table {table} rename to elsewhere"))
        pages = ["/", "/vehicle/hilux-07/api/v1/now"] if table != "blocks" else ["/vehicle/hilux-07/log"]
        if table == "blocks":
            with pytest.raises(NoConnection, match="trouble of its own"):
                who.publish(lambda: NOW_UTC_S)
        else:
            for page in pages:
                answer = client.get(page)
                said = unescape(answer.get_data(as_text=True))
                assert answer.status_code == 503 and "database cannot be asked" in said and "psycopg" not in said, page
        with engine.begin() as connection:
            connection.execute(text(f"alter table elsewhere rename to {table}"))
        who.publish(lambda: NOW_UTC_S)
    assert_same(engine, published_log)
    assert client.get("/").status_code == 200
