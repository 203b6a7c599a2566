"""A property of the way from board to collection: whatever happens to logs and connections, each row is there once, and as it was."""
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, event
from sqlalchemy.pool import StaticPool

from monitor.fleet import batch, database, keys, unsent
from monitor.fleet.batch import BadBatch, FleetBatch, columns_part, decode, encode, lines_part, rows_of
from monitor.fleet.board import board_of
from monitor.fleet.publishing import NoConnection, Publisher
from monitor.store.view import open_view
from tests.fleet.lines import NOW_UTC_S, Flaky, Straight, publish_until_done
from tests.fleet.test_publish import assert_same, cut_log

ROOT = Path(__file__).parents[2]
STEP = st.sampled_from(["grow", "talk", "broken talk", "restart", "copy put back"])


@settings(max_examples=8, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(steps=st.lists(STEP, min_size=3, max_size=9), seed=st.integers(0, 2**31))
def test_whatever_happens_each_row_is_there_once(steps: list[str], seed: int, published_log: Path,
                                                 tmp_path_factory: pytest.TempPathFactory) -> None:
    engine = create_engine("sqlite://", poolclass=StaticPool, connect_args={"check_same_thread": False})
    event.listen(engine, "connect", database._prepare_sqlite)
    database.upgrade(engine)
    with engine.begin() as connection:
        key = keys.enrol(connection, "hilux-07", NOW_UTC_S)
    folder, chance = tmp_path_factory.mktemp("life"), Random(seed)
    log, copy = folder / "ampledger.db", folder / "copy.db"
    grown = 0.3
    _grow(published_log, log, grown)

    def publisher(line: Any) -> Publisher:
        return Publisher(log, line, "board-a", "0.1.0",
                         rows_at_once={"minutes": chance.choice((97, 400, 2880)), "quarters": 40, "hours": 9})

    for step in steps:
        if step == "grow":
            grown = min(grown + chance.uniform(0.01, 0.9), 2.9)
            _put(log, copy)
            _grow(published_log, log, grown)
        elif step == "copy put back" and copy.exists():
            _put(copy, log)
        elif step == "broken talk":
            try:
                publisher(Flaky(Straight(engine, key), chance)).publish(lambda: NOW_UTC_S)
            except NoConnection:
                pass
        else:
            publisher(Straight(engine, key)).publish(lambda: NOW_UTC_S)
    publish_until_done(lambda: publisher(Flaky(Straight(engine, key), chance)).publish(lambda: NOW_UTC_S))
    assert_same(engine, log)
    engine.dispose()


def _grow(whole: Path, log: Path, days: float) -> None:
    """The log as it was after so many days."""
    _put(whole, log)
    cut_log(log, round(days * 86400_000))


def _put(source: Path, target: Path) -> None:
    for tail in ("-wal", "-shm"):
        target.with_name(target.name + tail).unlink(missing_ok=True)
    shutil.copy(source, target)


def test_a_batch_comes_back_as_it_was(published_log: Path) -> None:
    with open_view(published_log) as log:
        found = unsent.next_parts(log, unsent.Cursors(), unsent.Privacy())
        minutes = list(log.rows_of_level("minutes", -(2**62), 2**62))
    whole = FleetBatch("board-a", 7, 1.5e9, "0.1.0", found.parts, found.cursors.as_plain(), 12, True)
    again = decode(encode(whole))
    assert again == whole
    part = next(p for p in again.parts if p.table == "minutes")
    assert rows_of(part) == minutes[:part.count]


@pytest.mark.parametrize("harm", [
    lambda data: data[:-1], lambda data: data + b"x", lambda data: data.replace(b'"format":1', b'"format":2', 1),
    lambda data: data.replace(b'"minutes"', b'"secrets"', 1), lambda data: data[:20] + b"\xff" + data[21:]])
def test_a_damaged_batch_is_a_sentence(published_log: Path, harm: Callable[[bytes], bytes]) -> None:
    with open_view(published_log) as log:
        parts = unsent.next_parts(log, unsent.Cursors(), unsent.Privacy()).parts
    data = encode(FleetBatch("board-a", 1, 0.0, "0.1.0", parts, {}))
    with pytest.raises(BadBatch):
        rows = [rows_of(part) for part in decode(harm(data)).parts]
        raise AssertionError(f"taken: {len(rows)} parts")


def test_few_bytes_that_would_fill_the_memory_are_refused() -> None:
    import zlib

    bomb = zlib.compress(b"[1]\n" * 8_000_000, 9)
    part = batch.Part("events", "lines", ("id",), 5000, 0, 0, bomb)
    with pytest.raises(BadBatch, match="longer than"):
        rows_of(part)
    small = columns_part("minutes", [(60_000, 0, *[0] * 31)])
    with pytest.raises(BadBatch):
        rows_of(batch.Part("minutes", "columns", small.columns, 5000, 0, 0, small.body))


def test_rows_of_a_later_version_keep_what_both_know() -> None:
    part = lines_part("gaps", [(1, "house_voltage_v", "why", 5, 2, "new")], ("from_ms", "quantity", "reason", "until_ms", "count", "later"))
    assert rows_of(part) == [(1, "house_voltage_v", "why", 5, 2)]
    older = lines_part("gaps", [(1, "house_voltage_v", "why")], ("from_ms", "quantity", "reason"))
    assert rows_of(older) == [(1, "house_voltage_v", "why", None, None)]


@pytest.mark.parametrize(("files", "same"), [
    ({"sys/firmware/devicetree/base/serial-number": "10000000abcd\0", "etc/machine-id": "a"}, False),
    ({"sys/class/net/eth0/address": "02:00:00:12:34:56\n", "sys/class/net/eth0/device/x": "", "etc/machine-id": "a"}, False),
    ({"etc/machine-id": "a"}, True)])
def test_a_copied_card_in_another_board_is_another_board(tmp_path: Path, files: dict[str, str], same: bool) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    for root in (first, second):
        for name, text in files.items():
            path = root / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text(text if name == "etc/machine-id" or root == first else text.replace("1", "2"))
    assert (board_of(first) == board_of(second)) is same
    assert len(board_of(first)) == 32


#: What belongs to the collector alone.
COLLECTORS = ("tables", "database", "intake", "filing", "view", "years", "rounds", "people", "keys", "overview", "batteries", "judging")


@pytest.mark.parametrize(("modules", "none_of"), [
    ("monitor.process.service, dashboard, monitor.cli, monitor.commands.run", ("monitor.fleet", "dashboard.fleet")),
    ("monitor.fleet.publish_thread", tuple(f"monitor.fleet.{name}" for name in COLLECTORS))])
def test_a_board_imports_nothing_of_a_collector(modules: str, none_of: tuple[str, ...]) -> None:
    """Neither the collector nor what it needs: seen in a process that only runs the daemon's modules, or the thread that publishes."""
    code = (f"import sys, {modules}\n"
            "bad = [m for m in sys.modules if m.partition('.')[0] in ('psycopg', 'scipy', 'numpy', 'distributed')"
            f" or m.startswith({none_of})]\n"
            "print(bad); sys.exit(bool(bad))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_board_installs_nothing_of_a_collector() -> None:
    """What the extra brings is in no dependency of the program itself, nor among the pinned parts of a board's package."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]

    def names(lines: list[str]) -> set[str]:
        return {re.split(r"[^A-Za-z0-9_-]", line, maxsplit=1)[0].lower() for line in lines}

    extra = names(project["optional-dependencies"]["fleet"])
    assert extra == {"psycopg", "numpy", "scipy"}
    assert not extra & names(project["dependencies"])
    pins = names([line for line in (ROOT / "deb/pins.txt").read_text().splitlines() if line and line[0] not in "# "])
    assert len(pins) > 20 and not pins & {*extra, "psycopg-binary"}
