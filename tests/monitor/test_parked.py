"""Parked and stored: how long it lasts, what to do, and what of a loss was drain, against a battery of the manual's own density."""
import json
from math import inf
from random import Random

import pytest
from click.testing import CliRunner

from monitor.battery.label import Battery, Vehicle
from monitor.cli import commands
from monitor.findings import Estimate, NotYet
from monitor.planning import parked, parked_return
from monitor.planning.parked_return import Hour
from monitor.reporting import parked_words as words
from tests import store_fixture

LEAD = Vehicle(Battery("house", "agm", 100.0), Battery("starter", "flooded", 70.0))
LITHIUM = Vehicle(Battery("house", "lfp", 100.0, reserve_soc_frac=0.2), Battery("starter", "agm", 70.0))
WAIT = NotYet("some hours of rest have to pass")


def _sure(value: float, half: float = 0.0) -> Estimate:
    return Estimate(value, value - half, value + half, "measured")


NEARLY_FULL, DRAIN, HOUSE, BASE, NO_SUN = _sure(0.95, 0.03), _sure(0.050, 0.005), _sure(0.9, 0.03), _sure(0.3, 0.05), _sure(0.0)


def _plan(vehicle: Vehicle = LEAD, *, charge=NEARLY_FULL, drain=DRAIN, house=HOUSE, base=BASE, harvest=NO_SUN,
          weeks: float = 4.0, temperature_c: float = 20.0) -> parked.ParkingPlan:
    return parked.make_plan(vehicle, charge, drain, house, _sure(100.0, 5.0), base, harvest, weeks, temperature_c)


def test_days_by_hand() -> None:
    """50 mA from 95 % of 70 Ah: 14 Ah to 75 % at 1.2 Ah a day; the soonest from 92 % at 55 mA."""
    starter = _plan().batteries[0]
    assert starter.refresh_days.likely == pytest.approx((0.95 - 0.75) * 70 / (0.050 * 24))
    assert starter.refresh_days.low == pytest.approx((0.92 - 0.75) * 70 / (0.055 * 24))
    assert starter.limit_days.low > starter.refresh_days.low and starter.limit_frac == pytest.approx(1 - (12.70 - 12.2) / 0.95)
    house = _plan().batteries[1]
    own_a = (house.self_discharge_a.low + house.self_discharge_a.high) / 2
    assert house.limit_days.likely == pytest.approx((0.9 - 0.5) * 100 / 24 / (0.3 + own_a))


def test_a_30_mah_drain_of_public_practice() -> None:
    """25 mA takes 18 Ah and 50 mA 36 Ah in thirty days: 30 Ah are gone after 50 and 25 days (public service-training figures)."""
    for amperes, days in ((0.025, 50), (0.050, 25)):
        charge = parked.start_limit_frac(LEAD.starter) + 30 / 70
        assert _plan(charge=_sure(charge), drain=_sure(amperes)).batteries[0].limit_days.likely == pytest.approx(days, rel=0.01)


def test_what_to_do_fits_the_battery_and_the_drain() -> None:
    lead = " ".join(_plan(drain=_sure(0.3, 0.05)).todo)
    assert "negative lead off" in lead and "Look for what draws" in lead and "house loads off" in lead and "every 90 days" in lead
    lithium = " ".join(_plan(LITHIUM).todo)
    assert "about half, not full" in lithium and "Below freezing it must not be charged" in lithium
    assert "Leave the solar charger on" in " ".join(_plan(harvest=_sure(20.0)).todo)
    assert "Frost" in " ".join(_plan(temperature_c=-20.0).todo) and "Frost" not in lead
    quiet = _plan(charge=_sure(1.0), drain=_sure(0.002, 0.001), base=_sure(0.0), weeks=2).todo
    assert not any("negative lead off" in t or "house loads off" in t for t in quiet)


def test_what_is_not_known_is_said() -> None:
    plan = _plan(charge=WAIT, base=WAIT)
    assert [b.name for b in plan.batteries] == ["house"] and len(plan.unknown) == 2 and WAIT.because in plan.unknown[0]
    assert words.describe_plan(plan) == "How long it may stand is not known yet."


def test_a_battery_that_loses_nothing_lasts_for_ever_and_says_so() -> None:
    never = parked.Span(inf, inf, inf)
    assert words.format_days(never) == "more than a year" and words.format_range(never) == ""


@pytest.mark.parametrize(("weeks", "temperature_c", "sentence"), [
    (0, 10, "stay is 0 weeks: it must lie between 0.1 and 104"), (1000, 10, "nobody comes back"), (4, 90, "temperature is 90 °C"), (4,
        float("nan"), "nan"),
    (float("inf"), 10, "stay is inf")])
def test_absurd_stays_are_refused(weeks: float, temperature_c: float, sentence: str) -> None:
    with pytest.raises(ValueError, match=sentence):
        _plan(weeks=weeks, temperature_c=temperature_c)


def _manual_voltage(charge: float, temperature_c: float) -> float:
    """A flooded battery by the manuals: density 1.265 full and 1.120 flat, six cells of density + 0.845, 0.2 mV a cell and kelvin."""
    return 6 * (1.120 + 0.145 * charge + 0.845) + 0.0012 * (temperature_c - 25)


def _stay(days: int, drain_a: float, own_per_month: float, temperature_c: float = 15.0, capacity_ah: float = 70.0, seed: int = 3,
          house_a: float = 0.0, missing: tuple[int, int] = (0, 0)) -> list[Hour]:
    chance, hours, charge = Random(seed), [], 0.98
    for h in range(-48, days * 24 + 3):
        driving = h < 0 or h >= days * 24
        if not driving:
            charge -= (drain_a + own_per_month * capacity_ah / 720) / capacity_ah
        surface = 0.25 * 0.8 ** max(h, 0)
        volts = 14.1 if driving else _manual_voltage(charge, temperature_c) + surface + chance.gauss(0, 0.003)
        if missing[0] <= h < missing[1]:
            continue
        hours.append(Hour(3600.0 * h, 3600.0 * (h + 1), 0.9 if driving else 0.0, round(volts, 3), temperature_c + chance.gauss(0, 1.5),
                          0.0, house_a, 0.9))
    return hours


@pytest.mark.parametrize("drain_a", [0.0, 0.02, 0.05, 0.2])
@pytest.mark.parametrize("own_per_month", [0.03, 0.05])
@pytest.mark.parametrize("days", [10, 28])
def test_the_account_of_a_stay_holds_the_truth(drain_a: float, own_per_month: float, days: int) -> None:
    stay = parked_return.latest_stay(_stay(days, drain_a, own_per_month), LEAD)
    assert stay is not None and (stay.to_utc_s - stay.from_utc_s) / 86400 == pytest.approx(days, abs=0.1)
    starter = stay.losses[0]
    lost_ah = days * 24 * (drain_a + own_per_month * 70 / 720)
    assert starter.lost_ah.low <= lost_ah <= starter.lost_ah.high
    assert starter.drain_a.low <= drain_a + 1e-9 <= starter.drain_a.high + 0.003
    if drain_a >= 0.05:
        assert starter.drain_a.low > 0, "a real drain is told from self-discharge"
    if drain_a == 0.0:
        assert starter.drain_a.low == 0


def test_the_house_battery_s_drain_is_counted() -> None:
    stay = parked_return.latest_stay(_stay(14, 0.02, 0.04, house_a=0.25), LEAD)
    house = next(loss for loss in stay.losses if loss.name == "house")
    assert house.drain_a.high == pytest.approx(0.25) and house.lost_ah.low > 14 * 24 * 0.25
    assert "84.0 Ah, counted" in words.describe_loss(house, 14)


def test_a_board_that_was_off_meanwhile_still_tells_the_starter_battery() -> None:
    stay = parked_return.latest_stay(_stay(28, 0.05, 0.04, missing=(60, 600)), LEAD)
    starter, house = stay.losses
    assert starter.drain_a.low <= 0.05 <= starter.drain_a.high and "540 hours" in house.note


def test_only_long_stays_count_and_the_latest_one() -> None:
    assert parked_return.latest_stay(_stay(2, 0.02, 0.04), LEAD) is None
    assert parked_return.latest_stay([], LEAD) is None
    charged = [Hour(h.start_utc_s, h.end_utc_s, h.engine_running_frac, 13.6, 15.0, 0.0, 0.0, 0.9) for h in _stay(6, 0.0, 0.04)]
    stay = parked_return.latest_stay(charged, LEAD)
    assert "something charged it" in words.describe_loss(stay.losses[0], 6)


def test_the_command_says_it_in_words_and_in_json(tmp_path) -> None:
    store_fixture.fill(tmp_path / "a.db", 2.0, beat_s=60.0)
    said = CliRunner().invoke(commands, ["parked", "--database", str(tmp_path / "a.db"), "--weeks", "6"])
    assert said.exit_code == 0 and "Before you leave" in said.output and "SIMULATED" in said.output and "licensed practice" in said.output
    plain = json.loads(CliRunner().invoke(commands, ["parked", "--database", str(tmp_path / "a.db"), "--json"]).output)
    assert plain["simulated"] and plain["plan"]["batteries"][0]["name"] in ("starter", "house") and "Infinity" not in json.dumps(plain)
    for bad, sentence in ((["--weeks", "-1"], "between 0.1 and 104"), (["--temperature", "99"], "between -40 and 60")):
        done = CliRunner().invoke(commands, ["parked", "--database", str(tmp_path / "a.db"), *bad])
        assert done.exit_code == 1 and sentence in done.output
    assert CliRunner().invoke(commands, ["parked", "--database", str(tmp_path / "none.db")]).exit_code == 1


def test_stays_of_a_plant_of_its_own() -> None:
    """Random batteries and meters that share no formula with the account; a fifth of them old."""
    from tests.benchmarks import bench_parked

    found = bench_parked.score(60, 41, forecasts=False)
    assert found.lost_within >= 0.9 * found.parkings and found.drain_within >= 0.9 * found.parkings
    assert found.real_told >= 0.9 * found.real and found.sound_accused <= 1
