"""The daemon whole: restarts, clock steps, sensors that fail, requests; nothing lost, nothing counted twice."""
import getpass
import gzip
import json
import shutil
import sqlite3
import threading
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from drivers.errors import ReadFailed
from drivers.reading import Reading
from drivers.recorded import RecordedDriver, RecordedOptions
from monitor import pipeline
from monitor.battery.label import Battery, CurrentSensor, Vehicle
from monitor.estimation import charge
from monitor.findings import Estimate
from monitor.logbook.reader import Reader
from monitor.process import replay
from monitor.process.daemon import OtherLog
from monitor.store import requests, saving
from tests.hand_clock import NETWORK, NOBODY, HandClock
from tests.store_fixture import VEHICLE
from tests.vehicle_by_hand import REST, Instrument, daemon, live

RECORDINGS = Path(__file__).parent.parent / "recordings"


@pytest.fixture
def database(tmp_path: Path) -> Path:
    return tmp_path / "ampledger.db"


def ah(database: Path) -> float:
    """All ampere-hours out, as the roll-up rows tell them."""
    return sum(values["charge_out_ah"] for _, _, values in Reader(database).rows_of_level("minutes"))


def counted(life) -> float:
    """All ampere-hours out, as the trackers tell them."""
    return life.daemon.state.watch.counts.total.spent_ah


def width(charge) -> float:
    """How wide a charge's interval is; all of it where nothing is known."""
    return charge.high - charge.low if isinstance(charge, Estimate) else 1.0


def test_living_through_a_recording_gives_what_a_replay_of_it_gives(tmp_path: Path, database: Path) -> None:
    """Every field of every minute's findings, the first hours of a recorded drive."""
    vehicle = Vehicle(Battery("house", "agm", 60.0), Battery("starter", "agm", 60.0))
    lines = []
    with gzip.open(RECORDINGS / "agm-camp" / "readings.csv.gz", "rt") as file:
        lines = [next(file) for _ in range(700)]
    recording = tmp_path / "drive.csv"
    recording.write_text("".join(lines))

    class Source:
        driver = "recorded"

        def open(self) -> RecordedDriver:
            return RecordedDriver(RecordedOptions(file=recording))

    life = daemon(database, vehicle=vehicle, sources=[Source()], begins_utc_s=1782000000.0)  # midnight of HandClock's zone
    lived = live(life, 700)
    life.daemon.close()
    replayed = [step.findings for step in replay.steps(recording, vehicle)]
    assert len(lived) == len(replayed) - 1  # the last minute is still being filled
    for a, b in zip(lived, replayed):
        assert saving.to_text(a) == saving.to_text(b)


def test_a_clean_restart_goes_on_in_the_middle_of_a_minute(database: Path) -> None:
    straight = daemon(database.with_name("straight.db"))
    live(straight, 1200)
    straight.daemon.close()
    first = daemon(database)
    live(first, 430)
    assert first.daemon.close()
    second = daemon(database, clock=first.clock)
    live(second, 770)
    assert second.daemon.close()
    assert saving.to_text(second.daemon.state.watch) == saving.to_text(straight.daemon.state.watch)
    assert ah(database) == ah(straight.daemon.database)
    assert len(list(Reader(database).rows())) == len(list(Reader(straight.daemon.database).rows()))


def test_a_power_cut_costs_at_most_the_minute_that_was_being_filled_and_counts_nothing_twice(database: Path) -> None:
    life = daemon(database)
    for minutes in range(1, 8):
        live(life, 60)
        life.daemon.writer.flush()
    live(life, 37)
    life.daemon.writer.ask(lambda _: None).result(10)  # what was due is written by now; what is not due waits on
    copy = database.parent / "after the cut"
    copy.mkdir()
    for file in database.parent.glob("ampledger.db*"):
        shutil.copy(file, copy / file.name)
    life.daemon.close()
    life.clock.move(3.0)
    after = daemon(copy / "ampledger.db", clock=life.clock)
    assert after.daemon.state.watch.counts.total.spent_ah == pytest.approx(7 / 60, rel=0.02)
    live(after, 600)
    after.daemon.close()
    assert counted(after) == pytest.approx(ah(copy / "ampledger.db"), abs=1e-5)
    seconds = life.clock.boot_s() - 10.0
    assert counted(after) == pytest.approx(seconds / 3600, abs=2 / 60)


def test_stepping_the_wall_clock_changes_no_figure_at_all(database: Path) -> None:
    """Decades forward and back, seconds, and the year 1970; bit for bit the same trackers and alerts."""
    quiet, stepped = daemon(database, clock=HandClock(trust=NOBODY)), daemon(database.with_name("b.db"), clock=HandClock(trust=NOBODY))
    for step in (86400 * 3650.0, -86400 * 7300.0, 7.0, -7.0, -1.78e9, 1.2e9, 0.3):
        live(quiet, 240)
        live(stepped, 120)
        stepped.clock.set_wall(stepped.clock.utc_s() + step)
        live(stepped, 120)
    for life in (quiet, stepped):
        life.daemon.close()
    assert saving.to_text(stepped.daemon.state.watch) == saving.to_text(quiet.daemon.state.watch)
    assert saving.to_text(stepped.daemon.state.alerts) == saving.to_text(quiet.daemon.state.alerts)


def test_records_of_a_boot_without_a_clock_are_dated_when_one_appears(database: Path) -> None:
    clock = HandClock(trust=NOBODY, utc_s=0.0)
    life = daemon(database, clock=clock)
    live(life, 300)
    life.daemon.writer.flush()
    assert not Reader(database).now().utc_trusted
    clock.set_wall(1.8e9)
    clock.vouched = NETWORK
    live(life, 120)
    life.daemon.close()
    now = Reader(database).now()
    assert now.utc_trusted and now.utc_s == pytest.approx(1.8e9 + 120, abs=61)
    assert Reader(database).span()[0] == pytest.approx(1.8e9 - 300, abs=2)
    assert all(at > 1.79e9 for at, _ in Reader(database).rows())


def test_after_a_boot_the_first_readings_wait_for_the_time_and_then_know_the_silence(database: Path) -> None:
    life = daemon(database)
    live(life, 300)
    life.daemon.close()
    last_s = life.daemon._before_s()
    life.clock.reboot("second boot", off_s=3600.0, trust=NOBODY)
    again = daemon(database, clock=life.clock)
    assert live(again, 20) == []
    again.clock.vouched = NETWORK  # the network is there after 20 s
    live(again, 100)
    again.daemon.close()
    rows = [s for _, s in Reader(database).rows() if s.at_s > last_s]
    assert rows[0].at_s - last_s == pytest.approx(3601.0, abs=0.01)
    assert again.daemon.state.gathering.samples[0].doubt_s == 0.0


def test_without_any_clock_the_silence_between_boots_carries_its_doubt_to_the_trackers(database: Path) -> None:
    """Against a restart after a silence of the same length, 4.9 h, that two clocks know exactly."""
    found = []
    for name, trust in (("known.db", NETWORK), ("unknown.db", NOBODY)):
        life = daemon(database.with_name(name))
        live(life, 600)
        life.daemon.close()
        life.clock.reboot("second boot", off_s=17636.0, trust=trust, utc_s=None if trust is NETWORK else 0.0)
        again = daemon(database.with_name(name), clock=life.clock)
        found.append(live(again, 180)[1].charge.charge_frac)
        again.daemon.close()
    assert width(found[1]) > width(found[0])
    with closing(sqlite3.connect(database.with_name("unknown.db"))) as log:
        doubts = [d for (d,) in log.execute("select gap_doubt_s from boots order by at_ms")]
    assert doubts[0] == 0.0 and doubts[1] > 86400


def test_a_sensor_that_fails_is_a_gap_an_alert_and_no_more(database: Path) -> None:
    life = daemon(database)
    live(life, 120)
    life.instrument.shows = ReadFailed("in1: no data")
    assert live(life, 300)
    life.instrument.shows = dict(REST)
    live(life, 300)
    life.daemon.close()
    changes = [(c.what, c.alert.kind, c.alert.battery) for c in life.told if c.alert.kind == "sensor_lost"]
    # one instrument gave both batteries' voltages: one fault, one alert
    assert changes == [("raised", "sensor_lost", "vehicle"), ("cleared", "sensor_lost", "vehicle")]
    assert {g.what.quantity for g in Reader(database).gaps()} == set(REST)
    # an instrument that was closed is opened again within a minute
    assert all(300 <= g.until_utc_s - g.at_utc_s <= 361 for g in Reader(database).gaps())


def test_requests_from_other_processes_are_carried_out_on_the_beat(database: Path) -> None:
    life = daemon(database)
    life.instrument.shows = {"house_voltage_v": 12.6}
    live(life, 60)
    life.instrument.shows = ReadFailed("nothing")
    live(life, 420)
    life.daemon.writer.flush()
    (alert,) = [a.what for a in Reader(database).alerts(open_only=True) if a.what.kind == "sensor_lost"]
    requests.leave(requests.folder_of(database), "acknowledge", alert=alert.id)
    requests.leave(requests.folder_of(database), "shelve", alert=999, for_s=3600.0)
    live(life, 1)
    life.daemon.writer.flush()
    (alert,) = [a.what for a in Reader(database).alerts() if a.what.kind == "sensor_lost"]
    assert alert.state == "active acknowledged"
    assert any("no open alert number 999" in e.what.message for e in Reader(database).events())
    life.daemon.close()
    again = daemon(database, clock=life.clock)
    assert any(a.state == "active acknowledged" for a in again.daemon.state.alerts.alerts)
    again.daemon.close()


def calibrated(database: Path):
    """A daemon that has taken the shunt's zero from its last minutes and has ended."""
    life = daemon(database)
    life.instrument.shows = {**REST, "house_current_a": 0.137}
    live(life, 180)
    requests.leave(requests.folder_of(database), "calibrate_zero", minutes=2.0)
    live(life, 2)
    life.daemon.close()
    return life


def test_the_shunt_s_zero_is_calibrated_from_the_last_minutes_and_remembered(database: Path) -> None:
    life = calibrated(database)
    again = daemon(database, clock=life.clock)
    again.daemon.close()
    assert again.daemon.vehicle.current_sensor.offset_a == pytest.approx(0.137)
    life.instrument.shows = {**REST, "house_current_a": -4.0}


def test_a_zero_in_the_configuration_that_is_newer_than_the_log_s_takes_its_place(database: Path) -> None:
    life = calibrated(database)
    measured = replace(VEHICLE, current_sensor=CurrentSensor(0.2, 0.01, 1.02, 0.004))
    for _ in range(2):  # and it still does after a further restart
        again = daemon(database, clock=life.clock, vehicle=measured)
        live(again, 130)
        again.daemon.close()
        assert again.daemon.vehicle.current_sensor == measured.current_sensor
    assert Reader(database).now().vehicle.current_sensor == measured.current_sensor
    assert [e.what.message for e in Reader(database).events()].count(
        "The shunt's correction in the configuration is newer than the log's, and holds from now on.") == 1


def test_the_log_says_which_instrument_gives_what(database: Path) -> None:
    life = daemon(database, sources=[Instrument("first", house_voltage_v=12.6),
                                     Instrument("second", house_voltage_v=12.6, house_current_a=-1.0)])
    live(life, 130)
    life.daemon.close()
    assert Reader(database).sources() == {"house_voltage_v": "first", "house_current_a": "second"}


def test_calibrating_while_something_is_on_is_refused_in_a_sentence(database: Path) -> None:
    life = daemon(database)
    for i in range(180):
        life.instrument.shows = {**REST, "house_current_a": -4.0 if i % 60 < 20 else -0.1}
        live(life, 1)
    requests.leave(requests.folder_of(database), "calibrate_zero", minutes=2.0)
    live(life, 2)
    life.daemon.close()
    assert life.daemon.vehicle.current_sensor.offset_a == 0.0
    assert any("something was on" in e.what.message for e in Reader(database).events())


def test_a_replaced_battery_begins_afresh_and_the_other_goes_on(database: Path) -> None:
    life = daemon(database)
    live(life, 300)
    starter, before = life.daemon.state.watch.starter, life.daemon.state.watch.charge
    requests.leave(requests.folder_of(database), "battery_replaced", battery="house", rated_capacity_ah=95)
    live(life, 1)
    after = life.daemon.state.watch.charge
    assert after == charge.replace_battery(before, life.daemon.vehicle)  # the shunt's offset and the habits stay
    assert after.anchor == "" and life.daemon.state.watch.health == pipeline.begin(life.daemon.vehicle).health
    assert life.daemon.state.watch.starter == starter and life.daemon.vehicle.house.rated_capacity_ah == 95
    life.daemon.close()
    assert Reader(database).now().vehicle.house.rated_capacity_ah == 95


def test_the_owner_s_word_for_the_time_dates_the_log_until_a_better_one_comes(database: Path) -> None:
    life = daemon(database, clock=HandClock(trust=NOBODY, utc_s=0.0))
    live(life, 120)
    requests.leave(requests.folder_of(database), "set_clock", utc_s=1.8e9, sigma_s=2.0, asked_boot_s=life.clock.boot_s())
    live(life, 62)
    life.daemon.close()
    now = Reader(database).now()
    assert now.utc_trusted and now.utc_sigma_s == 2.0 and now.utc_s == pytest.approx(1.8e9 + 60, abs=2)


def test_the_owner_s_word_from_an_earlier_boot_or_for_an_invented_time_is_refused(database: Path) -> None:
    life = daemon(database, clock=HandClock(boot_s=500.0, trust=NOBODY, utc_s=0.0))
    live(life, 60)
    for asked_boot_s in (90000.0, 100.0):
        requests.leave(requests.folder_of(database), "set_clock", utc_s=1.8e9, sigma_s=2.0, asked_boot_s=asked_boot_s)
    live(life, 62)
    life.daemon.close()
    assert not Reader(database).now().utc_trusted
    assert sum("ask again" in e.what.message for e in Reader(database).events()) == 2
    instrument = Instrument()
    instrument.simulated, instrument.own_time_s = True, 10.0
    other = daemon(database.with_name("simulated.db"), instrument, simulated=True, begins_utc_s=1.78e9)
    live(other, 1)
    before = other.daemon.label
    requests.leave(requests.folder_of(database), "set_clock", utc_s=1.8e9, sigma_s=2.0, asked_boot_s=other.clock.boot_s())
    instrument.own_time_s = 11.0
    live(other, 1)
    assert other.daemon.label == before
    other.daemon.close()


def test_trackers_that_break_are_told_and_the_readings_are_still_logged(database: Path) -> None:
    calls = []

    def step(held, minute, vehicle):
        calls.append(minute)
        if 3 <= len(calls) <= 8:
            raise ValueError("a minute that cannot be")
        return pipeline.step(held, minute, vehicle)

    life = daemon(database, step=step)
    live(life, 900)
    life.daemon.close()
    assert [(c.what, c.alert.kind) for c in life.told if c.alert.kind == "trackers_failed"] == [
        ("raised", "trackers_failed"), ("cleared", "trackers_failed")]
    assert len(list(Reader(database).rows())) >= 830


def test_a_log_of_a_simulated_vehicle_is_never_gone_on_with_by_a_real_one(database: Path) -> None:
    instrument = Instrument()
    instrument.simulated = True
    life = daemon(database, instrument, simulated=True)
    live(life, 130)
    life.daemon.close()
    assert Reader(database).now().simulated
    with pytest.raises(OtherLog, match="a simulated vehicle"):
        daemon(database)
    other = daemon(database.with_name("real.db"), instrument)
    with pytest.raises(OtherLog, match="simulated"):
        live(other, 1)
    other.daemon.close()


@pytest.mark.parametrize("hurt", ["newest", "all"])
def test_a_damaged_saved_state_falls_back_and_says_so(database: Path, hurt: str) -> None:
    life = daemon(database)
    for _ in range(5):
        live(life, 60)
        life.daemon.writer.flush()
    life.daemon.close()
    with closing(sqlite3.connect(database)) as log, log:
        where = "where generation = (select max(generation) from tracker_state)" if hurt == "newest" else ""
        for generation, body in log.execute(f"select generation, body from tracker_state {where}").fetchall():
            log.execute("update tracker_state set body = ? where generation = ?",
                        (body[:50] + bytes([body[50] ^ 1]) + body[51:], generation))
    life.clock.move(2)
    again = daemon(database, clock=life.clock)
    live(again, 120)
    again.daemon.close()
    kinds = {e.what.kind for e in Reader(database).events()}
    if hurt == "newest":
        assert "state_damaged" in kinds and counted(again) == pytest.approx(ah(database), abs=2 / 60)
    else:
        assert "begun_afresh" in kinds
    assert counted(again) <= ah(database) + 1e-6  # never more than was measured


def test_the_log_writer_is_started_again_where_it_ended(database: Path) -> None:
    life = daemon(database)
    live(life, 60)
    with life.daemon.writer._change:
        life.daemon.writer._stop = True
        life.daemon.writer._change.notify()
    life.daemon.writer._thread.join(5)
    life.daemon.writer._stop = False
    live(life, 200)
    life.daemon.close()
    assert any(e.what.kind == "thread_restarted" for e in Reader(database).events())
    assert len(list(Reader(database).rows())) >= 180


def test_a_past_is_lived_through_at_once_and_gone_on_from(database: Path) -> None:
    class Source:
        driver = "by hand"

        def open(self):
            return self

        def read(self):
            self.at_s += 1.0
            return Reading(dict(REST), simulated=True, at_s=self.at_s)

        def close(self):
            pass

    source = Source()
    source.at_s = 0.0
    life = daemon(database, sources=[source], simulated=True, begins_utc_s=1.78e9)
    def history():
        while source.at_s < 6 * 3600.0:
            source.at_s += 30.0
            yield Reading(dict(REST), simulated=True, at_s=source.at_s)
    life.daemon.past(history())
    assert Reader(database).span()[1] == pytest.approx(1.78e9 + 6 * 3600, abs=61)
    assert life.daemon.writer.status().commits <= 4
    live(life, 120)
    life.daemon.close()
    assert len(list(Reader(database).rows())) >= 720 + 60


def test_many_beats_leave_no_thread_and_no_file_open(database: Path) -> None:
    def held() -> tuple[int, int]:
        return threading.active_count(), len(list(Path("/proc/self/fd").iterdir()))

    before = held()
    for _ in range(3):
        life = daemon(database, clock=HandClock(boot=str(_)))
        live(life, 130)
        life.daemon.close()
    assert held() == before


def test_requests_that_nobody_understands_are_dropped_and_logged(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    folder = tmp_path / "requests"
    requests.leave(folder, "acknowledge", alert=1)
    for name, text in (("b", "{"), ("c", json.dumps({"kind": "open_the_isolator", "values": {}})), ("d", "[" * 3000),
                       ("e", json.dumps({"kind": "shelve", "values": {"alert": True, "for_s": 1}})), ("f", "x" * 100000)):
        (folder / f"{name}.json").write_text(text)
    assert requests.take(folder) == [requests.Request("acknowledge", {"alert": 1}, getpass.getuser())]
    assert list(folder.iterdir()) == [] and len(caplog.records) == 5
    assert requests.take(tmp_path / "nowhere") == []
    with pytest.raises(ValueError, match="no request of kind"):
        requests.leave(folder, "start_engine")
