"""Batteries one after another: told by the owner, kept in the log, compared."""
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.battery.label import Battery, Vehicle
from monitor.cli import commands
from monitor.logbook.reader import Reader
from monitor.reporting import history_words
from monitor.store import requests
from monitor.wear import battery_history
from monitor.wear.battery_history import BatteryHistory
from monitor.wear.verdict import CapacityTest
from monitor.wear.week import Week
from tests.vehicle_by_hand import daemon, live

OLD = Vehicle(Battery("house", "agm", 100), Battery("starter", "flooded", 70))
NEW = replace(OLD, house=Battery("house", "lfp", 150))


def test_without_a_word_from_the_owner_there_is_one_life_from_before_the_log() -> None:
    (only,) = BatteryHistory().of("house", OLD)
    assert (only.rated_capacity_ah, only.installed_utc_s, only.replaced_utc_s) == (100, None, None)


def test_a_replacement_ends_one_life_and_begins_the_next() -> None:
    told = battery_history.describe_battery(BatteryHistory(), "house", OLD, "the grey one", 1000.0)
    told = battery_history.replace_battery(told, "house", OLD, NEW, 9e6, "the blue one")
    grey, blue = told.of("house", NEW)
    assert (grey.label, grey.chemistry, grey.installed_utc_s, grey.replaced_utc_s) == ("the grey one", "agm", 1000.0, 9e6)
    assert (blue.label, blue.chemistry, blue.rated_capacity_ah, blue.replaced_utc_s) == ("the blue one", "lfp", 150, None)
    assert len(told.of("starter", NEW)) == 1


def test_a_battery_cannot_be_replaced_before_it_was_put_in_or_be_called_nothing() -> None:
    told = battery_history.describe_battery(BatteryHistory(), "house", OLD, "one", 1e9)
    with pytest.raises(ValueError, match="installed later"):
        battery_history.replace_battery(told, "house", OLD, NEW, 0.9e9)
    for label in ("", "   ", "x" * 61):
        with pytest.raises(ValueError, match="label"):
            battery_history.describe_battery(told, "house", OLD, label)


def test_weeks_belong_to_the_battery_that_was_there() -> None:
    told = battery_history.replace_battery(BatteryHistory(), "house", OLD, NEW, 10.5 * 604800)
    weeks = [((k + 1) * 604800.0, Week(k * 604800.0, 0.008 + 0.0002 * k, 0.0001, 100.0 - k if k < 10 else 149.0,
                                       charge_out_ah=50.0, lowest_frac=0.4, fulls=k % 2)) for k in range(16)]
    first, second = battery_history.compare_services(told.of("house", NEW), weeks)
    assert (first.weeks, second.weeks) == (10, 6)
    assert first.first_capacity_ah == pytest.approx(99) and first.last_capacity_ah == pytest.approx(92)
    assert second.last_capacity_ah == 149 and second.full_cycles_count == pytest.approx(2.0)
    assert history_words.figures(first)[2] == "99 → 92"


@pytest.fixture
def life(tmp_path: Path):
    found = daemon(tmp_path / "ampledger.db")
    live(found, 300)
    return found


def _ask(life, *arguments: str) -> None:
    done = CliRunner().invoke(commands, [*arguments, "--database", str(life.daemon.database)])
    assert done.exit_code == 3, done.output  # nothing holds the log's lock: kept, and done in the next beat
    live(life, 1)


def test_what_the_owner_tells_is_in_the_log_and_lives_on_through_a_restart(tmp_path: Path, life) -> None:
    _ask(life, "battery", "describe", "house", "--label", "the grey one", "--installed", "2024-05-01")
    _ask(life, "battery", "replaced", "house", "--capacity", "150", "--chemistry", "lfp", "--label", "the blue one")
    life.daemon.close()
    again = daemon(life.daemon.database)
    assert [one.label for one in again.daemon.lives.lives] == ["the grey one", "the blue one"]
    again.daemon.close()
    listed = CliRunner().invoke(commands, ["battery", "list", "--database", str(life.daemon.database)]).output
    assert "the grey one" in listed and "the blue one" in listed
    assert life.daemon.vehicle.house.chemistry == "lfp" and life.daemon.vehicle.house.absorption_v is None


def test_a_refused_word_changes_nothing_and_is_told(life) -> None:
    requests.leave(requests.folder_of(life.daemon.database), "battery_replaced", battery="house", chemistry="tin")
    live(life, 1)
    life.daemon.close()
    assert life.daemon.lives == BatteryHistory()
    assert any("no chemistry 'tin'" in e.what.message for e in Reader(life.daemon.database).events())


def test_a_capacity_test_reaches_the_verdict_and_the_charge_tracker_once(life) -> None:
    rated = life.daemon.vehicle.house.rated_capacity_ah
    capacity = lambda: life.daemon.state.watch.charge.belief  # noqa: E731
    for _ in range(2):
        requests.leave(requests.folder_of(life.daemon.database), "capacity_tested", capacity_ah=0.7 * rated, low_ah=0.67 * rated,
                       high_ah=0.73 * rated, reached_end=1, ended_utc_s=1.0, sigma_ln=0.022)
        live(life, 1)
    held = life.daemon.state.watch.health
    assert isinstance(held.test, CapacityTest) and held.judged.word == "replace"
    from math import exp

    assert exp(capacity().mean[2]) == pytest.approx(0.7 * rated, rel=0.02)
    life.daemon.close()
    assert len(Reader(life.daemon.database).events_of("capacity_test")) == 1


@pytest.mark.parametrize("day", ["yesterday", "2999-01-01", "31.12.2025", "9999-12-31", "0001-01-01"])
def test_a_day_that_cannot_be_is_refused_with_what_to_write(tmp_path: Path, day: str) -> None:
    done = CliRunner().invoke(commands, ["battery", "describe", "house", "--installed", day, "--database", str(tmp_path / "x.db")])
    assert done.exit_code == 2 and "the day" in done.output
