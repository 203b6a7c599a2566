"""From a vehicle's life through the daemon and the log to the answer of `ampledger whatif`."""
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner

from drivers.simulated import SimulatedDriver, SimulatedOptions
from monitor import pipeline
from monitor.battery.label import Battery, Vehicle
from monitor.cli import commands
from monitor.logbook.reader import Reader
from monitor.planning import from_log, whatif
from monitor.planning.candidates import parse_candidate, setup
from monitor.planning.load_profile import refill
from monitor.planning.logged_life import read_logged
from monitor.planning.model import Setup, simulate
from monitor.process.daemon import Daemon
from tests.hand_clock import HandClock
from tests.vehicle_by_hand import Instrument

DAYS = 8
#: What the command and its answers ask of a log.
PARTS = pipeline.with_dependencies({"charge", "loads", "counts", "health"})


@pytest.fixture(scope="module", params=["late-summer-coast", "lithium-valley"])
def log(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eight days of a simulated vehicle, lead-acid or lithium, as the daemon writes them."""
    database = tmp_path_factory.mktemp("life") / "ampledger.db"
    options = SimulatedOptions(scenario=request.param)
    plan = options.plan()
    vehicle = Vehicle(Battery("house", plan.house.chemistry, plan.house.label_ah, absorption_v=plan.absorption_v, float_v=plan.float_v,
                              reserve_soc_frac=0.5 if plan.house.chemistry == "agm" else 0.3), Battery("starter", "flooded", 74))
    life = Daemon(database, vehicle, (Instrument("simulated"),), clock=HandClock(), begin=pipeline.begin,
                  step=partial(pipeline.step, parts=PARTS), simulated=True, begins_utc_s=1.8e9 - 1.8e9 % 86400)
    life.past(SimulatedDriver(options).history(DAYS, step_s=240.0))
    life.close()
    return database


def test_the_present_set_up_explains_the_log_and_a_larger_one_has_no_more_bad_nights(log: Path) -> None:
    now = Reader(log).now()
    life, known = from_log.describe_present(Reader(log).rows_of_level("quarters"), now.vehicle, now.findings.charge,
                                            now.findings.charge.capacity_ah)
    slots, rms = whatif.explain(life, known)
    assert rms < 0.03
    today, larger = whatif.ask(slots, known, [setup(known.setup, f"capacity={2 * known.setup.capacity_ah:.0f}")], rms)
    assert larger.nights_below_per_30.value <= today.nights_below_per_30.value
    assert larger.lowest_frac.value > today.lowest_frac.value
    assert today.weight.startswith("only ")


def test_the_life_out_of_the_log_balances_what_the_shunt_counted(log: Path) -> None:
    rows = list(Reader(log).rows_of_level("quarters"))
    life = from_log.read_slots(rows)
    rows = rows[-len(life):]
    counted = sum((v["charge_in_ah"] or 0) - (v["charge_out_ah"] or 0) for _, _, v in rows)
    found = sum((row.harvest_a or 0) + row.engine_a - (row.load_a or 0) for row in life) / 4
    assert found == pytest.approx(counted, abs=0.02 * sum(v["charge_out_ah"] or 0 for _, _, v in rows))
    assert all((row.load_a or 0) >= 0 and (row.harvest_a or 0) >= 0 for row in life)


def test_the_command_prints_every_candidate_beside_today(log: Path) -> None:
    done = CliRunner().invoke(commands, ["whatif", "--with", "capacity=300", "--with", "chemistry=lfp,capacity=100", "--database",
                                         str(log)])
    assert done.exit_code == 0, done.output
    assert "as it is" in done.output and "capacity=300" in done.output and "Weight: only" in done.output


@pytest.mark.parametrize("text", ["capacity", "size=3", "capacity=much", "capacity=-5", "chemistry=tin", "reserve=120"])
def test_a_candidate_that_cannot_be_is_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match="one of|not a number|above 0|write|below 100"):
        parse_candidate(text)


def test_lithium_brings_its_own_reserve_and_takes_what_comes_but_not_in_frost() -> None:
    base = Setup("as it is", "agm", 100.0, reserve_frac=0.5)
    lithium = setup(base, "chemistry=lfp,capacity=100")
    assert (lithium.chemistry, lithium.reserve_frac, lithium.lead_acid) == ("lfp", 0.2, False)
    from monitor.planning.load_profile import Slot

    sunny = [Slot(10 + k / 4, 0.0, 40.0) for k in range(8)]
    assert simulate(sunny, lithium, 0.3).charge_frac == ()
    assert simulate(sunny, lithium, 0.3).curtailed_ah < simulate(sunny, base, 0.3).curtailed_ah
    frost = [Slot(10 + k / 4, 0.0, 40.0, temperature_c=-3.0) for k in range(8)]
    assert simulate(frost, lithium, 0.3).curtailed_ah == pytest.approx(80.0)


@pytest.mark.slow
def test_the_answers_come_close_to_the_same_life_lived_again() -> None:
    """Thirty days of a camp that its log explains, through daemon and log; the truth is the same simulation with the
    other battery or panel in it. How often a log explains its battery, and more vehicles, are the benchmark's."""
    from tests.benchmarks.bench_whatif import answered, told
    from tests.benchmarks.ensemble import camps

    plan = next(p for p in camps(8) if p.name == "camp 7")
    for question, truth, answer in answered(told(plan, 30.0), 30.0):
        nights = answer.nights_below_per_30
        assert nights.low - 1e-9 <= truth <= nights.high + 1e-9, question
        assert abs(nights.value - truth) <= 2.0, (question, truth, nights)


@pytest.mark.parametrize("other_a", [0.4, 1.0])
def test_a_fridge_that_has_gone_off_is_missed_beside_loads_that_have_not(other_a: float) -> None:
    """Twelve days of a 2 A fridge and another load; in three nights the fridge is off from one to nine and the voltage stays low."""
    rows = []
    for k in range(12 * 96):
        hour, day = k / 4 % 24, k // 96
        off = day in (6, 8, 10) and 1 <= hour < 9
        low_v = 11.7 if off or day in (6, 8, 10) and hour < 1 else 12.4
        rows.append((900.0 * k, 900.0 * (k + 1), {
            "house_current_a": -other_a - (0.0 if off else 2.0), "covered_s": 900.0, "engine_running_frac": 0.0, "other_ah": 0.0,
            "load_a": other_a + (0.0 if off else 2.0), "harvest_a": 0.0, "curtailed_frac": 0.0, "house_temperature_c": 20.0,
            "house_voltage_v": low_v, "house_voltage_low_v": low_v, "charge_frac": 0.3, "charge_low_frac": 0.25,
            "charge_high_frac": 0.35}))
    life = from_log.read_slots(rows)
    slots = refill(life)
    missed = sum(s.prevented_a for s in slots) / 4
    assert missed == pytest.approx(3 * 8 * 2.0, rel=0.1)
    assert not any(row.cut for k, row in enumerate(life) if k // 96 not in (6, 8, 10))


def test_loads_that_go_off_in_the_middle_of_a_flat_evening_are_missed_from_then_on() -> None:
    """Twelve days of a 2 A fridge, and 4 A of lamps from 18 to 22; on the ninth a low voltage from 18 on, no fridge from 22 to 8."""
    rows = []
    for k in range(12 * 96):
        hour, day = k / 4 % 24, k // 96
        flat, off = (day == 8 and hour >= 18) or (day == 9 and hour < 8), (day == 8 and hour >= 22) or (day == 9 and hour < 8)
        load = (0.0 if off else 2.0) + (4.0 if 18 <= hour < 22 else 0.0) + 0.3
        volts = 11.6 if flat else 12.4
        rows.append((900.0 * k, 900.0 * (k + 1), {
            "house_current_a": -load, "covered_s": 900.0, "engine_running_frac": 0.0, "other_ah": 0.0, "load_a": load, "harvest_a": 0.0,
            "curtailed_frac": 0.0, "house_temperature_c": 20.0, "house_voltage_v": volts, "house_voltage_low_v": volts,
            "charge_frac": 0.3, "charge_low_frac": 0.25, "charge_high_frac": 0.35}))
    life = from_log.read_slots(rows)
    assert sum(s.prevented_a for s in refill(life)) / 4 == pytest.approx(10 * 2.0, rel=0.1)
    assert not any(row.cut for row in life[8 * 96:8 * 96 + 87]) and all(row.cut for row in life[8 * 96 + 90:9 * 96 + 30])


def test_sun_into_a_flat_battery_serves_the_loads_first() -> None:
    """Ten days: 2 A at all hours, but gone off from midnight to eight in the second half, when the battery is flat; 3 A net by day.

    Where the log could not tell harvest from load while it charged, loads are taken to be on: harvest is 5 A, not 3.
    """
    rows = []
    for k in range(10 * 96):
        hour, flat = k / 4 % 24, k >= 5 * 96
        off, charging = flat and hour < 8, 9 <= hour < 17
        net = 0.0 if off else 3.0 if charging else -2.0
        rows.append((900.0 * k, 900.0 * (k + 1), {
            "house_current_a": net, "covered_s": 900.0, "engine_running_frac": 0.0, "other_ah": 0.0, "load_a": None if flat else 2.0,
            "harvest_a": None if flat else max(net + 2.0, 0.0), "curtailed_frac": 0.0, "house_temperature_c": 20.0,
            "house_voltage_v": 13.2 if charging else 11.6 if flat else 12.6, "house_voltage_low_v": 11.5 if flat else 12.5,
            "charge_frac": 0.05 if flat else 0.6,
            "charge_low_frac": 0.02 if flat else 0.55, "charge_high_frac": 0.1 if flat else 0.65}))
    life = from_log.read_slots(rows)
    day = [row for row in life[5 * 96:] if 10 <= row.hour < 16]
    assert sum(row.harvest_a for row in day) / len(day) == pytest.approx(5.0, abs=0.3)
    assert sum(row.load_a for row in day) / len(day) == pytest.approx(2.0, abs=0.3)
    assert all(row.cut for row in life[5 * 96:] if 1 <= row.hour < 6) and not any(row.cut for row in day)
    assert sum(row.harvest_a - row.load_a for row in life) == pytest.approx(sum(v["house_current_a"] for _, _, v in rows))


def test_a_plan_takes_loads_and_months_from_the_log(log: Path) -> None:
    """Eight days say what is used; of a month's sun and air they say nothing yet."""
    found = read_logged(Reader(log), 60)
    assert 100 < sum(load.wh_per_day or sum(load.hourly_w or (0.0,)) for load in found.loads) < 5000
    assert found.climate.months == () and not found.climate.metered
