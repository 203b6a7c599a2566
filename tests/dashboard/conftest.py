"""Real logs for the pages: full, real, old, empty, damaged, missing; and a client for each."""
import random
import shutil
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from dashboard import create_app
from monitor.store import checksum, saving
from monitor.store.open_log import OpenLog
from tests import store_fixture

PAGES = ("/", "/tonight", "/log", "/log?span=all", "/starter", "/alerts", "/health", "/about")
DAYS = 2.6
ENDS_UTC_S = store_fixture.BEGINS_UTC_S + DAYS * 86400


@pytest.fixture(autouse=True)
def nobody_answers(monkeypatch: pytest.MonkeyPatch) -> None:
    """No daemon runs beside these logs, so its answer is not waited for."""
    monkeypatch.setattr("dashboard.actions.WAIT_S", 0.0)


@pytest.fixture(scope="session")
def full(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days and a half of a simulated camper, two whole nights in it."""
    return store_fixture.fill(tmp_path_factory.mktemp("full") / "ampledger.db", DAYS, beat_s=60.0)


@pytest.fixture(scope="session")
def make_log(full: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Logs by name, each made once."""
    made: dict[str, Path] = {}

    def make(kind: str) -> Path:
        if kind not in made:
            made[kind] = _make(kind, full, tmp_path_factory.mktemp(kind) / "ampledger.db")
        return made[kind]

    return make


def _make(kind: str, full: Path, target: Path) -> Path:
    if kind == "simulated":
        return full
    if kind in ("empty", "empty simulated"):
        OpenLog(target, {"simulated": "01"["simulated" in kind], "vehicle": saving.to_text(store_fixture.VEHICLE)}).close()
    elif kind == "letter":
        target.write_text("Dear reader, " * 800)
    elif kind == "damaged":
        shutil.copy(full, target)
        body = bytearray(target.read_bytes())
        chance = random.Random(7)
        for _ in range(40):
            at = chance.randrange(2, len(body) // 4096) * 4096
            body[at:at + 4096] = chance.randbytes(4096)
        target.write_bytes(body)
    elif kind != "missing":
        _copy_with_labels(kind, full, target)
    return target


def _copy_with_labels(kind: str, full: Path, target: Path) -> None:
    """real: just written; old: written long ago; unsure: its clock was never confirmed."""
    with closing(sqlite3.connect(full)) as source, closing(sqlite3.connect(target)) as log, log:
        source.backup(log)
        log.execute("update meta set value = '0' where name = 'simulated'")
        end_s = log.execute("select max(end_ms) from minutes").fetchone()[0] / 1000
        begins_s = time.time() - end_s - (9 * 86400 if kind == "old" else 30)
        log.execute("update boots set utc_offset_ms = ?", (round(1000 * begins_s),))
        if kind == "unsure":
            log.execute("update boots set utc_trusted = 0, utc_sigma_s = 86400")
        for table in ("meta", "boots"):
            _sign(log, table)


def _sign(log: sqlite3.Connection, table: str) -> None:
    """Gives every row of a table the checksum of what it holds now, as the daemon would."""
    names = [name for _, name, *_ in log.execute(f"pragma table_info({table})") if name != "crc"]
    rows = log.execute(f"select rowid, {', '.join(names)} from {table}").fetchall()
    log.executemany(f"update {table} set crc = ? where rowid = ?",
                    [(checksum.checksum_of(table)(tuple(row)), number) for number, *row in rows])


@pytest.fixture(scope="session")
def apps() -> dict[str, Flask]:
    """One app for each kind of log: making one anew compiles every template."""
    return {}


@pytest.fixture
def client(make_log: Callable[[str], Path], apps: dict[str, Flask], tmp_path: Path) -> Callable[..., FlaskClient]:
    """A browser without a screen, over a log by name; more goes to create_app."""

    def make(kind: str = "simulated", **more) -> FlaskClient:
        if more:
            return create_app(make_log(kind), requests_folder=tmp_path / "requests", **more).test_client()
        if kind not in apps:
            apps[kind] = create_app(make_log(kind))
        apps[kind].config["DOORS"] = lambda: (tmp_path / "requests",)
        return apps[kind].test_client()

    return make
