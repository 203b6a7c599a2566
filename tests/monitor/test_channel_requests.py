"""Dividers, the way the current counts and which battery is which, put right while the daemon runs, and undone."""
from pathlib import Path
from types import SimpleNamespace

import pytest

from drivers.reading import Reading
from monitor import pipeline
from monitor.battery.label import BoardSupply, CurrentSensor, Vehicle
from monitor.logbook import live_readings
from monitor.process import channel_requests, relive
from monitor.process.requests_kept import Outcome
from monitor.sampling.correction import ChannelCorrection, Corrections, describe_channel, put_right
from monitor.store import requests
from tests.hand_clock import HandClock
from tests.store_fixture import BEGINS_UTC_S, VEHICLE
from tests.vehicle_by_hand import REST, Instrument, daemon, live

#: What a multimeter shows at the starter battery's posts, and a pin behind a divider of 5:1.
METER_V, PIN_V = 12.71, 2.55


def ask(life: SimpleNamespace, kind: str, **values) -> Outcome:
    """What the daemon answers at its next beat."""
    heard = []
    life.daemon._requests.answer = lambda request, done, said, entry=None: heard.append((done, said, entry))
    requests.leave(requests.folder_of(life.daemon.database), kind, "mate", **values)
    live(life, 1)
    life.daemon._requests.__dict__.pop("answer", None)
    return heard[-1]


def shown(life: SimpleNamespace) -> dict[str, float]:
    """What the daemon believes now."""
    live(life, 2)
    sample = life.daemon.state.gathering.samples[-1]
    return {name: value for name in REST if (value := getattr(sample, name)) is not None}


def meter(battery: str, volts: float) -> dict:
    return {"battery": battery, "meter_v": volts, "digit_v": 0.01, "limit_frac": 0.005}


def test_an_unknown_divider_is_measured_and_not_believed_until_it_is_compared_and_again_once_that_is_undone(tmp_path: Path) -> None:
    options = {"unknown_dividers": frozenset({"starter_voltage_v"})}
    life = daemon(tmp_path / "log.db", Instrument(**{**REST, "starter_voltage_v": PIN_V}), **options)
    live(life, 200)
    assert shown(life).keys() == {"house_voltage_v", "house_current_a", "house_temperature_c"}
    assert life.daemon.sampler.open_gaps() == (), "nobody expects it, so nobody is warned"
    done, said, entry = ask(life, "calibrate_divider", **meter("starter", METER_V))
    assert done and "was 2.55 V where the multimeter shows 12.71 V" in said
    assert shown(life)["starter_voltage_v"] == pytest.approx(METER_V, abs=0.001)
    assert life.daemon.vehicle.starter.voltage_sigma_frac == pytest.approx(0.005 / 3**0.5, rel=0.05), "a limit of error is rectangular"
    assert life.daemon.close()

    again = daemon(tmp_path / "log.db", Instrument(**{**REST, "starter_voltage_v": PIN_V}), clock=later(life), **options)
    assert shown(again)["starter_voltage_v"] == pytest.approx(METER_V, abs=0.001), "kept in the log"
    assert again.daemon.vehicle.starter.voltage_sigma_frac is not None
    assert ask(again, "undo", entry=entry)[0]
    assert "starter_voltage_v" not in shown(again)
    assert again.daemon.vehicle.starter.voltage_sigma_frac is None
    again.daemon.close()


def later(life: SimpleNamespace) -> HandClock:
    clock = HandClock(boot_s=life.clock.boot_s() + 60, utc_s=life.clock.utc_s() + 60)
    return clock


def test_a_correction_ends_with_the_channel_it_was_found_for(tmp_path: Path) -> None:
    class Options:
        def __init__(self, scale: float) -> None:
            self.measures, self.scale = dict.fromkeys(REST, 1), scale

        def model_dump(self, mode: str) -> dict:  # noqa: ARG002 - pydantic's signature
            return {"chip": "a", "measures": {name: {"scale": self.scale} for name in self.measures}}

    def made(scale: float, clock: HandClock | None = None) -> SimpleNamespace:
        instrument = Instrument(**REST)
        instrument.options = Options(scale)
        return daemon(tmp_path / "log.db", instrument, clock=clock)

    life = made(1.0)
    live(life, 60)
    assert ask(life, "calibrate_divider", **meter("house", 12.80))[0]
    assert shown(life)["house_voltage_v"] == pytest.approx(12.80, abs=0.001)
    assert life.daemon.close()
    other = made(1.02, later(life))
    assert shown(other)["house_voltage_v"] == REST["house_voltage_v"], "the configuration says something newer"
    other.daemon.close()


@pytest.mark.parametrize(("values", "why"), [
    (meter("roof", 12.7), "no battery called"), (meter("house", 1.27), "not what a 12 V battery shows"),
    (meter("house", 12.7) | {"limit_frac": 0.5}, "of no use"), (meter("house", 12.7) | {"digit_v": 5.0}, "of no use")])
def test_a_comparison_that_cannot_be_is_refused_in_a_sentence(tmp_path: Path, values: dict, why: str) -> None:
    life = daemon(tmp_path / "log.db")
    live(life, 30)
    done, said, entry = ask(life, "calibrate_divider", **values)
    assert not done and why in said and entry is None
    life.instrument.shows = {"house_current_a": -1.0}
    live(life, 400)
    done, said, _ = ask(life, "calibrate_divider", **meter("house", 12.7))
    assert not done and "only 0 times" in said
    life.daemon.close()


@pytest.mark.parametrize(("before_a", "after_a", "discharging", "turned"), [
    (-1.0, -7.0, 1, False), (1.0, 7.0, 1, True),      # alone
    (6.0, 1.5, 1, False), (-6.0, -1.5, 1, True),      # with the sun on all the while: the change tells
    (-1.0, 8.0, 0, False), (1.0, -8.0, 0, True)])     # a charger
def test_the_change_tells_the_way_the_current_counts(tmp_path: Path, before_a, after_a, discharging, turned) -> None:
    life = daemon(tmp_path / "log.db", Instrument(**{**REST, "house_current_a": before_a}))
    live(life, 120)
    life.instrument.shows["house_current_a"] = after_a
    live(life, 12)
    done, said, entry = ask(life, "calibrate_direction", discharging=discharging)
    assert done and ("turned round" in said) is turned and (entry is not None) is turned
    assert shown(life)["house_current_a"] == (-after_a if turned else after_a)
    if turned:
        assert ask(life, "undo", entry=entry)[0]
        assert shown(life)["house_current_a"] == after_a
    life.daemon.close()


def test_what_rests_on_the_current_begins_anew_and_nothing_else() -> None:
    """Loads found by steps of the wrong sign are none; relay, starter battery and the day's counts do not go by the sign."""
    learnt, fresh = (pipeline.TrackerStates(**{name: f"{name}, {age}" for name in pipeline.ALL}) for age in ("learnt", "fresh"))
    after = channel_requests.begin_current_anew(learnt, fresh)
    kept = {name for name in pipeline.ALL if getattr(after, name) == getattr(learnt, name)}
    assert kept == {"isolator", "counts", "starter", "house"}


def test_too_little_current_tells_nothing(tmp_path: Path) -> None:
    life = daemon(tmp_path / "log.db", Instrument(**{**REST, "house_current_a": -0.2}))
    live(life, 60)
    done, said, _ = ask(life, "calibrate_direction", discharging=1)
    assert not done and "switch on a load" in said
    life.daemon.close()


@pytest.mark.parametrize(("supply", "wrong_zero_a"), [("elsewhere", 0.07), ("past_shunt", 0.07 + 0.3), ("through_shunt", 0.07 + 0.3 + 0.3)])
def test_the_zero_of_a_turned_shunt_is_that_of_the_chip_the_right_way_round(supply: str, wrong_zero_a: float) -> None:
    """By hand: the chip shows +0.07 A with nothing flowing and counts backwards; 0.3 A of the board were taken off when it was zeroed.

    What is right afterwards: minus 0.07 A by the chip, and the board's current on top where the shunt does not see it.
    """
    vehicle = Vehicle(VEHICLE.house, VEHICLE.starter, CurrentSensor(offset_a=wrong_zero_a), board=BoardSupply(supply, 0.3, 0.07))
    right_a = -0.07 + (0.3 if supply == "past_shunt" else 0.0)
    assert channel_requests._reverse_sensor(vehicle).offset_a == pytest.approx(right_a)


def test_a_start_of_the_engine_exchanges_voltages_that_are_crossed(tmp_path: Path) -> None:
    crossed = {**REST, "house_voltage_v": 12.71, "starter_voltage_v": 12.61}
    life = daemon(tmp_path / "log.db", Instrument(**crossed))
    live(life, 120)
    for volts, seconds in ((9.6, 1), (14.1, 40)):
        life.instrument.shows["house_voltage_v"] = volts
        live(life, seconds)
    done, said, entry = ask(life, "identify_by_start")
    assert done and "changed places" in said and "fell by 24 %" in said
    assert shown(life)["starter_voltage_v"] == 14.1 and shown(life)["house_voltage_v"] == 12.61
    assert ask(life, "calibrate_divider", **meter("house", 12.70))[0], "a correction of the channel that is called house now"
    assert shown(life)["house_voltage_v"] == pytest.approx(12.70, abs=0.001)
    assert life.daemon._channels.corrections.rows[0].quantity == "starter_voltage_v"
    assert ask(life, "undo", entry=entry)[0]
    assert shown(life)["house_voltage_v"] == 14.1
    life.daemon.close()


def test_what_is_learnt_again_from_the_log_begins_where_the_current_was_turned(tmp_path: Path) -> None:
    life = daemon(tmp_path / "log.db", Instrument(**{**REST, "house_current_a": 6.0}))
    live(life, 600)
    life.instrument.shows["house_current_a"] = 11.0
    live(life, 12)
    entry = ask(life, "calibrate_direction", discharging=1)[2]
    live(life, 600)
    life.daemon.writer.ask(lambda connection: None).result(20)
    relived = relive.relive(life.daemon.database, life.daemon.vehicle)[0]
    slot = relived.loads.slot
    assert slot.covered_s >= 500 and slot.net_as == pytest.approx(-11.0 * slot.covered_s), "by hand: 11 A drawn ever since"
    assert life.daemon.state.watch.loads.slot.net_as == pytest.approx(-11.0 * 600 + 6.0 * 60, abs=11.0 * 60), "but for its first minute"
    assert ask(life, "undo", entry=entry)[0]
    life.daemon.writer.ask(lambda connection: None).result(20)
    undone = relive.relive(life.daemon.database, life.daemon.vehicle)[0].loads.slot
    assert undone.covered_s > 1100 and undone.net_as > -11.0 * 600 + 6.0 * 540, "undone, the log is taken as it stands"
    assert life.daemon.close()


def test_readings_of_this_beat_are_shown_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "run").mkdir()
    monkeypatch.setenv("AMPLEDGER_RUNTIME_FOLDER", str(tmp_path / "run"))
    life = daemon(tmp_path / "log.db", Instrument(**{**REST, "starter_voltage_v": PIN_V}),
                  unknown_dividers=frozenset({"starter_voltage_v"}))
    live(life, 3)
    found = live_readings.read(tmp_path / "log.db")
    assert found is not None and found.age_s < 60
    assert found.values["house_voltage_v"] == REST["house_voltage_v"] and found.at_pin == {"starter_voltage_v": PIN_V}
    life.daemon.close()
    for text in ("", "{", "[]", '{"at_boot_s": 1e12, "values": {}, "at_pin": {}}', '{"at_boot_s": "x", "values": {}, "at_pin": {}}'):
        next((tmp_path / "run").glob("*.readings")).write_text(text)
        assert live_readings.read(tmp_path / "log.db") is None


def test_a_reading_is_corrected_whole_with_the_fast_readings_of_a_start() -> None:
    reading = Reading({"starter_voltage_v": 2.5, "house_temperature_c": 20.0}, fast_starter=((0.0, 2.5), (0.05, 2.0)))
    right = put_right(reading, lambda quantity: {"starter_voltage_v": 5.0}.get(quantity, 1.0), False)
    assert right.values == {"starter_voltage_v": 12.5, "house_temperature_c": 20.0}
    assert right.fast_starter == ((0.0, 12.5), (0.05, 10.0))
    assert put_right(reading, lambda _: None, False).fast_starter == ()
    corrections = Corrections().put(ChannelCorrection("a", "x", 2.0)).put(ChannelCorrection("a", "x", 3.0))
    assert [row.factor for row in corrections.rows] == [3.0]
    assert describe_channel(SimpleNamespace(driver="d"), "a") == '["d", {}, null]'
    assert BEGINS_UTC_S > 0
