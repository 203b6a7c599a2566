"""Years left by a log: what its hours tell, the owner's own criterion, and what is said where it is not known."""
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from monitor.cli import commands
from monitor.findings import Estimate, NotYet
from monitor.logbook.reader import Reader
from monitor.planning import life_on_log
from monitor.planning.battery_life import LifeReport, work_out_life
from monitor.planning.load_profile import Slot
from monitor.planning.model import Setup, simulate
from monitor.reporting import life_words
from monitor.wear.life import LifeForecast
from tests import store_fixture

SETUP = Setup("as it is", "agm", 100.0, 0.5)


def _slots(days: int = 30, load_a: float = 3.0, sun_a: float = 15.0) -> list[Slot]:
    """Days of a steady load and six hours of sun."""
    return [Slot(k * 0.25 % 24, load_a, sun_a if 9 <= k * 0.25 % 24 < 15 else 0.0) for k in range(96 * days)]


def test_a_young_log_says_why() -> None:
    found, warm = life_on_log.read_use([(0.0, 3600.0, {
        "charge_frac": 0.8, "covered_s": 3600.0, "house_temperature_c": None, "charge_in_ah": 1.0, "charge_out_ah": 0.5,
        "house_voltage_v": 13.0})])
    assert not warm and found[0].temperature_c == 20.0 and found[0].hours == 1.0


def test_hours_without_a_charge_or_uncovered_are_left_out() -> None:
    hour = {"charge_frac": 0.8, "covered_s": 3600.0, "house_temperature_c": 15.0, "charge_in_ah": 0.0, "charge_out_ah": 1.0,
            "house_voltage_v": 12.6}
    rows = [(0.0, 3600.0, hour), (3600.0, 7200.0, hour | {"charge_frac": None}), (7200.0, 10800.0, hour | {"covered_s": 600.0})]
    assert len(life_on_log.read_use(rows)[0]) == 1


def test_a_simulated_life_keeps_its_ampere_hours() -> None:
    """What goes out and in over the hours is what the simulation moved."""
    slots = _slots()
    lived = simulate(slots, SETUP, 0.9, keep_slots=True)
    use = life_on_log.use_of_life(lived.slots, 0.25, 4)
    assert sum(s.hours for s in use) == pytest.approx(30 * 24)
    assert sum(s.discharge_ah for s in use) == pytest.approx(lived.out_ah, rel=0.02)
    assert use[-1].charge_frac == pytest.approx(lived.charge_frac[-1])


def test_the_owners_own_criterion() -> None:
    """54 Ah a night and a reserve of half: 100 Ah do, 90 do not; whoever bears it every night needs next to nothing."""
    slots = _slots(load_a=2.6)
    strict = life_on_log.capacity_needed(slots, SETUP, 1.0, 0.0)
    lax = life_on_log.capacity_needed(slots, SETUP, 1.0, 30.0)
    assert strict.frac is not None and 0.85 <= strict.frac <= 1.0 and not strict.already
    assert lax == life_on_log.CapacityNeeded(None)


def test_already_short_is_said_only_where_all_of_the_rating_is() -> None:
    """48 Ah a night: 98 Ah with a reserve of half just do, 95 % of them do not, and that is not "already short"."""
    slots, just = _slots(load_a=2.6), replace(SETUP, capacity_ah=98.0)
    lows = [min(simulate(slots, replace(just, capacity_ah=ah), 1.0, keep_slots=True).charge_frac) for ah in (98.0, 0.95 * 98.0)]
    assert lows[0] > 0.5 > lows[1]
    found = life_on_log.capacity_needed(slots, just, 1.0, 0.0)
    assert not found.already and found.frac is not None and 0.95 < found.frac <= 1.0
    assert life_on_log.capacity_needed(slots, replace(just, capacity_ah=90.0), 1.0, 0.0) == life_on_log.CapacityNeeded(None, already=True)
    assert life_on_log.capacity_needed(_slots(load_a=0.1), just, 1.0, 0.0) == life_on_log.CapacityNeeded(None)


def test_a_larger_battery_lives_longer_in_the_same_life() -> None:
    slots = _slots()
    small, large = (life_on_log.forecast_on_slots(slots, replace(SETUP, capacity_ah=ah), 0.9).years for ah in (100.0, 200.0))
    assert isinstance(small, Estimate) and isinstance(large, Estimate) and large.value > 1.3 * small.value


def test_log_to_words(tmp_path: Path) -> None:
    """A log of a few hours: not known yet, because; on the command line too, and bad figures in one sentence."""
    database = store_fixture.fill(tmp_path / "log.db", days=0.2, beat_s=60.0)
    report = work_out_life(Reader(database))
    assert isinstance(report.forecast.years, NotYet) and "14 days" in report.forecast.years.because
    said = CliRunner().invoke(commands, ["life", "--database", str(database)])
    assert said.exit_code == 0 and "not known yet, because it takes 14 days" in said.output
    refused = CliRunner().invoke(commands, ["life", "--database", str(database), "--short-nights", "40"])
    assert refused.exit_code == 1 and refused.output.count("\n") == 1


def _report(**changed: object) -> LifeReport:
    forecast = LifeForecast(Estimate(3.1, 1.9, 6.2, "learnt"), Estimate(2.0, 1.0, 4.0, "learnt"), 0.7,
                            (("heat", 1.94), ("standing part-charged", 0.81)), Estimate(0.05, 0.02, 0.1, "learnt"))
    whole = LifeReport(0.0, 200.0, True, 2.0, 2.0, "", False, True, forecast)
    return replace(whole, **changed)  # type: ignore[arg-type]


def test_words() -> None:
    rows = {label: (value, note) for label, value, note in life_words.list_rows(_report())}
    assert rows["What shortens it most"][0] == "heat: 1.9 years; standing part-charged: 0.8"
    assert rows["Until it is too small for you"][0] == "3.1 years (1.9 to 6.2)" and "70 %" in rows["Until it is too small for you"][1]
    assert rows["Until it holds 80 %"][0] == "2.0 years (1.0 to 4.0)"
    assert life_words.describe_headline(_report()) == "About 3.1 years (1.9 to 6.2) left."
    doubts = life_words.list_rows(_report(thermometer=False, age_years=None, nights_because="the log is short"))
    assert "20 °C is supposed" in doubts[-1][2] and "put in is not known" in doubts[-1][2]
    assert doubts[0] == ("Until it is too small for you", "not known", "because the log is short")
    assert life_words.describe_years(Estimate(0.2, 0.1, 0.5, "learnt")) == "2 months (1 to 6)"
