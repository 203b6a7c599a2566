"""The beat's readings: a silent, absurd, hung or contradicting instrument becomes a named gap and stops nothing."""
import threading
import time
from types import SimpleNamespace

import pytest

from drivers.errors import ReadFailed
from drivers.reading import Fault
from monitor.sampling import judge
from monitor.sampling.sampler import Sampler
from tests.vehicle_by_hand import REST, Instrument


class Beats:
    """A sampler and its time."""

    def __init__(self, *instruments: Instrument, **how) -> None:
        self.sampler, self.now_s = Sampler(instruments, **how), 0.0

    def beat(self, times: int = 1) -> dict[str, float]:
        """So many seconds; the values of the last."""
        values = {}
        for _ in range(times):
            self.now_s += 1.0
            answers, _, _ = self.sampler.read(self.now_s)
            values = self.sampler.judge(answers, self.now_s)
        return values

    def active(self) -> dict[tuple[str, str], str]:
        """What would be alerted."""
        return {(c.kind, c.battery): f"{c.seen} {c.evidence}" for c in self.sampler.conditions(self.now_s) if c.active}


def test_every_instrument_s_values_make_one_sample() -> None:
    beats = Beats(Instrument(), Instrument("thermometer", ambient_temperature_c=14.5))
    assert beats.beat() == {**REST, "ambient_temperature_c": 14.5}


def test_a_silent_instrument_is_a_gap_told_once_and_the_others_go_on() -> None:
    shunt, adc = Instrument("shunt", house_current_a=-1.0), Instrument("adc", starter_voltage_v=12.7)
    beats = Beats(shunt, adc)
    beats.beat(10)
    adc.shows = ReadFailed("ch0: no acknowledge")
    assert beats.beat(200) == {"house_current_a": -1.0}
    (gap,) = beats.sampler.gaps()
    assert (gap.quantity, gap.from_s, gap.until_s) == ("starter_voltage_v", 11.0, None) and "no acknowledge" in gap.reason
    assert list(beats.active()) == [("sensor_lost", "starter")]
    adc.shows = {"starter_voltage_v": 12.7}
    assert beats.beat(200)["starter_voltage_v"] == 12.7
    (closed,) = beats.sampler.gaps()
    assert closed.from_s == 11.0 and 211 <= closed.until_s <= 272 and closed.count >= 200
    assert not beats.active() and not beats.sampler.open_gaps()


def test_one_instrument_of_both_batteries_that_falls_silent_is_one_alert() -> None:
    adc = Instrument("adc", house_voltage_v=12.6, starter_voltage_v=12.7)
    shunt = Instrument("shunt", house_current_a=-1.0)
    beats = Beats(shunt, adc)
    beats.beat(10)
    adc.shows = ReadFailed("ch0: no acknowledge")
    beats.beat(100)
    assert list(beats.active()) == [("sensor_lost", "vehicle")]
    seen = beats.active()["sensor_lost", "vehicle"]
    assert "house battery's voltage" in seen and "starter battery's voltage" in seen
    assert seen.count("no acknowledge") == 1
    (alert,) = [c for c in beats.sampler.conditions(beats.now_s) if c.active]
    assert alert.priority == "high"


def test_two_instruments_that_fall_silent_one_after_the_other_are_two_alerts() -> None:
    adc, shunt = Instrument("adc", starter_voltage_v=12.7), Instrument("shunt", house_current_a=-1.0)
    beats = Beats(shunt, adc)
    beats.beat(10)
    adc.shows = ReadFailed("ch0: no acknowledge")
    beats.beat(300)
    shunt.shows = ReadFailed("no frame")
    beats.beat(100)
    assert list(beats.active()) == [("sensor_lost", "house"), ("sensor_lost", "starter")]


def test_a_loose_plug_is_one_gap_with_a_count() -> None:
    adc = Instrument("adc", starter_voltage_v=12.7)
    beats = Beats(adc)
    beats.beat(5)
    for _ in range(20):
        adc.shows = ReadFailed("nothing")
        beats.beat(1)
        adc.shows = {"starter_voltage_v": 12.7}
        beats.beat(9)
    beats.beat(100)
    changes = beats.sampler.gaps()
    assert len(changes) == 2 and changes[-1].count == 20


def test_an_instrument_that_was_never_there_is_told_and_comes_in_when_plugged_in() -> None:
    absent = Instrument("adc", starter_voltage_v=12.7)
    absent.there = False
    beats = Beats(Instrument("shunt", house_current_a=1.0), absent)
    beats.beat(100)
    assert "adc is not plugged in" in beats.active()["sensor_lost", "vehicle"]
    absent.there = True
    assert beats.beat(130) == {"house_current_a": 1.0, "starter_voltage_v": 12.7}
    assert not beats.active()


def test_an_instrument_is_opened_anew_after_lost_readings_with_growing_pauses() -> None:
    shunt = Instrument("shunt", house_current_a=1.0)
    beats = Beats(shunt)
    beats.beat()
    shunt.shows = ReadFailed("bus stuck")
    beats.beat(600)
    assert 4 <= shunt.opened <= 20 and shunt.closed == pytest.approx(shunt.opened, abs=1)


@pytest.mark.parametrize("quantity, value, word", [
    ("house_voltage_v", 0.02, "outside"), ("house_voltage_v", 31.0, "outside"), ("house_voltage_v", float("nan"), "not a number"),
    ("house_current_a", 4000.0, "outside"), ("house_temperature_c", 127.9, "outside"), ("starter_voltage_v", float("inf"), "not a number"),
    ("ignition_on", 2.0, "outside")])
def test_an_absurd_value_is_refused_by_name(quantity: str, value: float, word: str) -> None:
    beats = Beats(Instrument(**{**REST, quantity: value}))
    values = beats.beat(100)
    assert quantity not in values and len(values) >= 3
    (gap,) = beats.sampler.gaps()
    assert gap.quantity == quantity and word in gap.reason


def test_a_fault_of_one_quantity_costs_that_one_only() -> None:
    adc = Instrument("adc", house_voltage_v=12.6)
    adc.faults = (Fault("starter_voltage_v", "channel 1 saturated"),)
    beats = Beats(adc)
    assert beats.beat(3) == {"house_voltage_v": 12.6}
    assert "channel 1 saturated" in beats.sampler.gaps()[0].reason


def test_the_first_in_the_configuration_wins_and_values_are_never_averaged() -> None:
    first, second = Instrument("shunt", house_voltage_v=12.60), Instrument("adc", house_voltage_v=12.64)
    beats = Beats(first, second)
    assert beats.beat(300) == {"house_voltage_v": 12.60} and not beats.active()
    second.shows = {"house_voltage_v": 13.4}
    assert beats.beat(300) == {"house_voltage_v": 12.60}
    assert "12.6 and, by adc, 13.4" in beats.active()["sensors_disagree", "house"]
    first.shows = ReadFailed("gone")
    assert beats.beat(1) == {"house_voltage_v": 13.4}


def test_a_value_that_never_changes_while_its_companion_moves_is_an_instrument_that_hung() -> None:
    shunt = Instrument(house_voltage_v=12.61, house_current_a=0.0)
    beats = Beats(shunt)
    for i in range(1000):
        shunt.shows = {"house_voltage_v": 12.61, "house_current_a": -5.0 * (i % 200) / 200}
        values = beats.beat()
    assert "house_voltage_v" not in values and "house_current_a" in values
    assert "has hung" in beats.sampler.open_gaps()[0].reason
    shunt.shows = {"house_voltage_v": 12.58, "house_current_a": -2.0}
    assert "house_voltage_v" in beats.beat()


def test_a_quiet_night_is_not_mistaken_for_a_hung_instrument() -> None:
    beats = Beats(Instrument(house_voltage_v=12.61, house_current_a=0.0, starter_voltage_v=12.72))
    assert len(beats.beat(8000)) == 3 and not beats.sampler.gaps()


def test_a_driver_s_own_mistake_does_not_end_the_others() -> None:
    broken = Instrument("adc", starter_voltage_v=12.7)
    broken.shows = ZeroDivisionError("a mistake in the driver")
    assert Beats(broken, Instrument("shunt", house_current_a=1.0)).beat(3) == {"house_current_a": 1.0}


class Hanging(Instrument):
    """An instrument whose bus can be held: reading (or opening) then does not return until it is let go."""

    def __init__(self, driver: str, **shows: float) -> None:
        super().__init__(driver, **shows)
        self.free, self.opens_freely = threading.Event(), True
        self.free.set()
        self.options = SimpleNamespace(timeout_s=0.05)

    def open(self) -> Instrument:
        if not self.opens_freely:
            self.free.wait(30)
        return super().open()

    def read(self):
        self.free.wait(30)
        return super().read()


def test_a_hung_instrument_is_a_named_gap_and_the_others_go_on_with_every_beat() -> None:
    adc, shunt = Hanging("adc", starter_voltage_v=12.7), Instrument("shunt", house_current_a=-1.0)
    late = Instrument("probe", house_voltage_v=12.6)
    beats = Beats(adc, shunt, late, beat_s=0.2, hangs_after_s=0.2)
    assert len(beats.beat(5)) == 3
    threads = threading.active_count()
    adc.free.clear()
    started = time.monotonic()
    assert beats.beat()["house_current_a"] == -1.0
    assert time.monotonic() - started < 0.2, "the beat in which it hangs is late by half a beat at most"
    started = time.monotonic()
    assert {"house_current_a": -1.0, "house_voltage_v": 12.6}.items() <= beats.beat(8).items()
    assert time.monotonic() - started < 0.2, "later beats do not wait for it at all"
    time.sleep(0.3)
    assert beats.beat(3) == {"house_current_a": -1.0, "house_voltage_v": 12.6}
    (gap,) = beats.sampler.gaps()
    assert gap.quantity == "starter_voltage_v" and gap.reason == "adc: it hangs and does not answer"
    assert threading.active_count() == threads + 1, "the thread that hangs, and no more of them with time"
    adc.free.set()
    time.sleep(0.05)
    for _ in range(100):
        time.sleep(0.002)
        values = beats.beat()
    assert values["starter_voltage_v"] == 12.7 and adc.closed >= 1, "what was hung is opened anew"
    assert not beats.sampler.open_gaps() and threading.active_count() <= threads
    beats.sampler.close()


def test_an_instrument_that_hangs_in_being_opened_stops_nothing() -> None:
    adc = Hanging("adc", starter_voltage_v=12.7)
    adc.opens_freely = False
    adc.free.clear()
    beats = Beats(adc, Instrument("shunt", house_current_a=-1.0), beat_s=0.2, hangs_after_s=0.1)
    assert beats.beat(3) == {"house_current_a": -1.0}
    time.sleep(0.2)
    beats.beat(300)
    assert "adc: it hangs" in next(g.reason for g in beats.sampler.open_gaps())
    beats.sampler.close()
    adc.free.set()


def test_a_slow_instrument_delays_no_beat_and_its_latest_reading_stands_meanwhile() -> None:
    class Slow(Instrument):
        def read(self):
            time.sleep(0.15)
            return super().read()

    beats = Beats(Slow("w1", house_temperature_c=21.0), Instrument("shunt", house_current_a=-1.0), beat_s=0.1)
    took, seen = [], 0
    for _ in range(15):
        started = time.monotonic()
        seen += "house_temperature_c" in beats.beat()
        took.append(time.monotonic() - started)
        time.sleep(0.1)
    assert seen >= 12 and sorted(took)[-2] < 0.05
    assert not beats.sampler.gaps()
    beats.sampler.close()


def test_memory_that_runs_out_is_no_fault_of_the_instrument() -> None:
    class Full(Instrument):
        def read(self):
            raise MemoryError

    with pytest.raises(MemoryError):
        Beats(Full("adc", starter_voltage_v=12.7)).beat()


def test_every_quantity_has_limits() -> None:
    from drivers.reading import QUANTITIES

    assert set(judge.LIMITS) == set(judge.AGREEMENT) == set(QUANTITIES)


def test_two_solar_chargers_are_added_up_and_never_half_counted() -> None:
    one, two = Instrument("one", solar_current_a=3.0), Instrument("two", solar_2_current_a=1.5)
    assert Beats(one, two).beat() == {"solar_current_a": 4.5}
    assert judge.add_solar({"solar_current_a": 3.0}, {"solar_current_a", "solar_2_current_a"}) == {}
    assert judge.add_solar({"solar_current_a": 3.0, "house_voltage_v": 13.0}, {"solar_current_a"}) == {"solar_current_a": 3.0,
                                                                                                       "house_voltage_v": 13.0}
    assert Beats(two).beat() == {"solar_current_a": 1.5}
