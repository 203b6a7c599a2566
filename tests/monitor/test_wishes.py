"""What a person asks of the daemon: its answer is waited for and passed on; each entry can be undone, and who and when is kept."""
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from monitor import pipeline
from monitor.battery.label import CurrentSensor
from monitor.cli import commands
from monitor.commands import owner, wishes
from monitor.logbook.reader import Reader
from monitor.process import relive
from monitor.store import answers, lock, requests
from tests import store_fixture
from tests.hand_clock import NETWORK, NOBODY, HandClock
from tests.store_fixture import BEGINS_UTC_S, VEHICLE
from tests.vehicle_by_hand import REST, daemon, live


def run(database: Path, *words: object) -> Result:
    return CliRunner().invoke(commands, [*map(str, words), "--database", str(database)])


@contextmanager
def beating(life) -> Iterator[None]:
    """The daemon beats beside, holding the log's lock as a running one does."""
    ended = threading.Event()

    def beat() -> None:
        while not ended.wait(0.02):
            live(life, 1)

    with lock.hold_lock(life.daemon.database) as ours:
        assert ours
        thread = threading.Thread(target=beat)
        thread.start()
        try:
            yield
        finally:
            ended.set()
            thread.join()


@pytest.fixture
def life(tmp_path: Path):
    found = daemon(tmp_path / "ampledger.db")
    live(found, 300)
    return found


def flushed(life) -> Reader:
    life.daemon.writer.ask(lambda connection: None).result(20)
    return Reader(life.daemon.database)


def test_the_daemons_answer_is_passed_on_with_its_exit_code(life) -> None:
    database = life.daemon.database
    life.instrument.shows = {**REST, "house_current_a": 9.0}
    live(life, 60)
    with beating(life):
        done = run(database, "battery", "describe", "house", "--label", "the grey one")
        assert done.exit_code == 0 and "Done: The owner recorded the house battery: the grey one" in done.output
        assert "ampledger undo 1" in done.output
        refused = run(database, "calibrate", "zero", "--minutes", 2)
        assert refused.exit_code == 1 and "not done: the shunt showed" in refused.output
        missing = run(database, "undo", 77)
        assert missing.exit_code == 1 and "there is no entry number 77" in missing.output
    assert life.daemon.lives.lives[0].label == "the grey one"


def test_where_nobody_runs_the_wish_is_kept_and_done_later(life) -> None:
    kept = run(life.daemon.database, "battery", "describe", "house", "--label", "blue")
    assert kept.exit_code == 3 and "the daemon is not running. Your wish is kept" in kept.output
    live(life, 1)
    assert life.daemon.lives.lives[0].label == "blue"


def test_a_daemon_that_does_not_answer_is_waited_for_no_longer_than_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Hung: it holds the lock and takes nothing up. The wish moves from memory to where it outlives a stop."""
    memory, database = tmp_path / "run", tmp_path / "log/ampledger.db"
    (memory / "requests").mkdir(parents=True)
    database.parent.mkdir()
    monkeypatch.setenv("AMPLEDGER_RUNTIME_FOLDER", str(memory))
    monkeypatch.setattr(wishes, "WAIT_S", 0.3)
    with lock.hold_lock(database):
        done = run(database, "relearn")
    assert done.exit_code == 3 and "has not answered within" in done.output and "Your wish is kept" in done.output
    assert not list((memory / "requests").iterdir()) and len(list((database.parent / "requests").glob("*.json"))) == 1


def test_answers_are_cleared_away_and_never_left_over(life, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = requests.folder_of(life.daemon.database)
    requests.ask([folder], "relearn", waits=True)
    requests.ask([folder], "relearn")
    live(life, 1)
    assert len(list(folder.iterdir())) == 1, "one waited, one did not"
    monkeypatch.setattr(answers, "STAYS_S", 0.0)
    live(life, 1)
    assert not list(folder.iterdir())
    requests.ask([folder], "relearn", waits=True)
    live(life, 1)
    life.daemon.close()
    again = daemon(life.daemon.database)
    assert not list(folder.iterdir())
    again.daemon.close()


def test_a_day_before_the_log_began_is_asked_back(life, monkeypatch: pytest.MonkeyPatch) -> None:
    database = life.daemon.database
    flushed(life)
    before = run(database, "battery", "replaced", "house", "--on", "2020-05-01")
    assert before.exit_code == 1 and "is before the log began" in before.output and "--yes" in before.output
    assert "battery describe house --installed 2020-05-01" in before.output
    monkeypatch.setattr(owner, "_is_asked", lambda: True)
    for said, code in (("n\n", 1), ("y\n", 3)):
        asked = CliRunner().invoke(
            commands, ["battery", "replaced", "house", "--on", "2020-05-01", "--database", str(database)], input=said)
        assert asked.exit_code == code, asked.output
    assert run(database, "battery", "replaced", "starter", "--on", "2020-05-01", "--yes").exit_code == 3
    assert len(list(requests.folder_of(database).glob("*.json"))) == 2


def take_up(life, *words: object, **values: object) -> None:
    """Leaves a request by its kind and values and lives a beat."""
    requests.leave(requests.folder_of(life.daemon.database), str(words[0]), by="mate", **values)
    live(life, 1)


def test_a_new_battery_is_undone_with_its_label_and_nothing_else(life) -> None:
    was, shunt = life.daemon.vehicle, CurrentSensor(offset_a=0.05)
    take_up(life, "battery_described", battery="starter", label="red")
    take_up(life, "battery_replaced", battery="house", rated_capacity_ah=150.0, chemistry="lfp", label="blue")
    take_up(life, "battery_described", battery="starter", label="redder")
    assert life.daemon.vehicle.house.chemistry == "lfp"
    life.daemon.vehicle = replace(life.daemon.vehicle, current_sensor=shunt)
    take_up(life, "undo", entry=2)
    assert life.daemon.vehicle.house == was.house and life.daemon.vehicle.current_sensor == shunt
    assert [one.label for one in life.daemon.lives.lives] == ["redder"]
    take_up(life, "undo", entry=1)
    assert [one.label for one in life.daemon.lives.lives] == ["redder"], "a later one about the same comes first"
    entries = flushed(life).entries().rows
    assert [(e.id, e.undone_utc_s is None) for e in entries] == [(1, True), (2, False), (3, True)]
    assert entries[1].undone_by and entries[1].undone_utc_s >= entries[1].utc_s
    words = [e.what.message for e in Reader(life.daemon.database).events()]
    assert any(w.startswith("Undone by ") and "A new house battery was put in, blue" in w for w in words)
    assert any("entry 3 came after it and is about the same; undo that first" in w for w in words)
    listed = run(life.daemon.database, "undo").output.splitlines()
    assert listed[0].startswith("   3 ") and "UNDONE" in listed[1] and "UNDONE" not in listed[0]
    take_up(life, "undo", entry=2)
    assert any("entry 2 is undone already, by " in e.what.message for e in flushed(life).events())


def test_entries_and_what_was_undone_live_on_through_a_restart(life) -> None:
    take_up(life, "calibrate_zero", minutes=2)
    life.instrument.shows = {**REST, "house_current_a": 0.2}
    live(life, 200)
    take_up(life, "calibrate_zero", minutes=2)
    assert life.daemon.vehicle.current_sensor.offset_a == pytest.approx(0.2, abs=0.01)
    life.daemon.close()
    again = daemon(life.daemon.database, clock=life.clock)
    live(again, 2)
    take_up(again, "undo", entry=2)
    assert again.daemon.vehicle.current_sensor.offset_a == pytest.approx(-1.0)
    take_up(again, "undo", entry=1)
    assert again.daemon.vehicle.current_sensor == VEHICLE.current_sensor
    again.daemon.close()
    third = daemon(life.daemon.database)
    assert third.daemon.vehicle.current_sensor == VEHICLE.current_sensor
    assert [e.undone_utc_s is None for e in third.daemon.entries.rows] == [False, False]
    third.daemon.close()


def test_marking_as_seen_and_putting_aside_are_undone(life) -> None:
    life.instrument.there = False
    life.instrument.shows = OSError("gone")
    live(life, 1200)
    alert = next(a for a in life.daemon.state.alerts.alerts if a.state == "active")
    found = lambda: next(a for a in life.daemon.state.alerts.alerts if a.id == alert.id)  # noqa: E731
    take_up(life, "acknowledge", alert=alert.id)
    take_up(life, "shelve", alert=alert.id, for_s=3600)
    assert found().state == "active acknowledged" and found().shelved_until_s is not None
    take_up(life, "undo", entry=2)
    assert found().shelved_until_s is None and found().state == "active acknowledged"
    take_up(life, "undo", entry=1)
    assert (found().state, found().acknowledged_by, found().acknowledged_at_s) == ("active", "", None)
    flushed(life)
    assert next(a.what.state for a in Reader(life.daemon.database).alerts() if a.what.id == alert.id) == "active"


@pytest.mark.parametrize("trust", [NETWORK, NOBODY], ids=["network", "nobody"])
def test_the_owners_word_for_the_time_is_undone(tmp_path: Path, trust) -> None:
    clock = HandClock(trust=trust)
    life = daemon(tmp_path / "ampledger.db", clock=clock)
    live(life, 130)
    before = life.daemon.label
    told_s = clock.utc_s() + 40 * 86400.0
    take_up(life, "set_clock", utc_s=told_s, sigma_s=2.0, asked_boot_s=clock.boot_s(), sure=1)
    assert life.daemon.label.utc_offset_s - before.utc_offset_s == pytest.approx(40 * 86400.0, abs=10)
    take_up(life, "undo", entry=1)
    live(life, 130)
    assert life.daemon.label.utc_offset_s == pytest.approx(before.utc_offset_s, abs=10)
    assert life.daemon.label.utc_trusted is before.utc_trusted
    life.daemon.close()


def test_what_is_learnt_from_the_log_again_leaves_out_what_was_undone(tmp_path: Path) -> None:
    """A new battery and a capacity test, both told on the second day: with them, without them, and with them undone."""
    database = store_fixture.fill(tmp_path / "ampledger.db", 2.0, beat_s=60.0)
    clock = HandClock(boot_s=2 * 86400 + 30.0, utc_s=BEGINS_UTC_S + 2 * 86400 + 30.0, trust=NETWORK)
    without = relive.relive(database, VEHICLE)[0]
    life = daemon(database, clock=clock, simulated=True)
    live(life, 120)
    rated = VEHICLE.house.rated_capacity_ah
    take_up(life, "capacity_tested", capacity_ah=0.7 * rated, low_ah=0.67 * rated, high_ah=0.73 * rated, reached_end=1, ended_utc_s=1.0)
    take_up(life, "battery_replaced", battery="starter")
    live(life, 120)
    flushed(life)
    told = relive.relive(database, VEHICLE)[0]
    assert told.health.test is not None and told.health.judged.word == "replace"
    take_up(life, "undo", entry=2)
    take_up(life, "undo", entry=1)
    live(life, 120)
    life.daemon.close()
    after = relive.relive(database, VEHICLE)[0]
    assert after.health.test is None and after.health.judged.word == without.health.judged.word
    capacity = [pipeline.house_charge.findings(x.charge, VEHICLE).capacity_ah.value for x in (without, told, after)]
    assert capacity[1] < 0.85 * capacity[0] and capacity[2] == pytest.approx(capacity[0], rel=0.02)
