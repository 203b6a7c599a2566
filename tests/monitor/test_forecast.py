"""Tonight: will the charge last until the sun is back, and is it said at the right moment."""
import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.findings import ChargeFindings, Estimate, JoinFindings, NotYet
from monitor.forecast import forecast
from monitor.store.saving import from_text, to_text
from monitor.usage import loads
from tests.monitor.test_loads import load_a, minute, sun_a
from tests.posteriors import of_normal

NOT_YET = NotYet("not part of this test")
VEHICLE = Vehicle(Battery("house", "agm", 100.0, reserve_soc_frac=0.5, absorption_v=14.4),
                  Battery("starter", "agm", 60.0))


def charge_of(charge_frac: float, capacity_ah: float = 100.0) -> ChargeFindings:
    return ChargeFindings(
        Estimate(charge_frac, charge_frac - 0.03, charge_frac + 0.03, "counting"),
        Estimate(capacity_ah, 0.95 * capacity_ah, 1.05 * capacity_ah, "learnt"), NOT_YET, NOT_YET, NOT_YET, NOT_YET,
        posterior=of_normal(charge_frac, 0.03 / 1.96, capacity_ah, 0.05 / 1.96))


def lived(days: float, charge_at=lambda at_s: 0.95, sun: float = 1.0, vehicle: Vehicle = VEHICLE):
    """Days of the same life with a charge that follows charge_at; the events on the way come with it."""
    held, ahead, events = loads.begin(), forecast.begin(), []
    for k in range(1, int(days * 144) + 1):
        at_s, hour = k * 600.0, k / 6 % 24
        step, charge = minute(at_s, sun * sun_a(hour) - load_a(hour), hour=hour), charge_of(charge_at(at_s))
        held = loads.update(held, step, vehicle, JoinFindings(), charge)
        ahead = forecast.update(ahead, step, vehicle, charge, held)
        if ahead.evening.said_s == at_s:
            events.append((at_s, forecast.conditions(ahead)[0]))
    return ahead, events


def test_a_charge_that_is_plenty_lasts_and_nobody_is_told() -> None:
    ahead, events = lived(4 + 22 / 24)
    found = forecast.findings(ahead)
    assert found.probability_before_sun < 0.05
    assert not events
    assert found.headline == "It should last the night."


def test_a_charge_that_cannot_last_is_told_once_before_it_happens() -> None:
    # 13 Ah above the reserve at 21:00 and 2 A through the night: gone by half past two
    ahead, events = lived(5 + 23 / 24, lambda at_s: 0.95 if at_s < 5.6 * 86400 else 0.63)
    found = forecast.findings(ahead)
    assert found.probability_before_sun > 0.9
    assert [condition.kind for _, condition in events] == ["house_reserve_forecast"]
    assert forecast.conditions(ahead)[0].active
    assert forecast.conditions(ahead)[0].priority == "high"
    assert found.reserve_in_low_s < found.reserve_in_s < found.reserve_in_high_s
    assert found.reserve_in_s / 3600 == pytest.approx(13 / 2.0, abs=1.5)


def test_the_first_evening_says_that_it_is_rough() -> None:
    ahead, _ = lived(21 / 24, lambda at_s: 0.7)
    found = forecast.findings(ahead)
    assert "no whole day" in found.because
    assert found.lowest_high_frac - found.lowest_low_frac > 0.1


def test_without_a_charge_it_says_why_there_is_no_forecast() -> None:
    held, ahead = loads.begin(), forecast.begin()
    unknown = ChargeFindings(NOT_YET, NOT_YET, NOT_YET, NOT_YET, NOT_YET, NOT_YET)
    step = minute(600.0, -2.0)
    held = loads.update(held, step, VEHICLE, JoinFindings(), unknown)
    ahead = forecast.update(ahead, step, VEHICLE, unknown, held)
    found = forecast.findings(ahead)
    assert found.probability_before_sun is None
    assert found.because


def test_the_same_life_gives_the_same_forecast_and_it_can_be_saved() -> None:
    first, _ = lived(2.9)
    second, _ = lived(2.9)
    assert first == second
    assert from_text(forecast.ForecastState, to_text(first)) == first


def test_a_week_of_hard_evenings_gives_no_more_than_one_message_a_day() -> None:
    """Far below the six an hour held acceptable for an operator (ISA-18.2-2016, 16.4, by its public summary)."""
    _, events = lived(5.0, lambda at_s: 0.62)
    evenings = [(at_s + 43200) // 86400 for at_s, _ in events]     # from noon to noon
    assert len(evenings) == len(set(evenings)) >= 4


def test_outcomes_of_past_nights_are_kept_with_their_figures() -> None:
    ahead, _ = lived(4.5, lambda at_s: 0.95 if 8 < at_s / 3600 % 24 < 18 else 0.60)
    nights = ahead.learnt.nights
    assert len(nights) == 4     # the night in which it began had no bedtime
    assert all(n.lowest_frac == pytest.approx(0.60) for n in nights)
