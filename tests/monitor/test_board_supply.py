"""The board's own current: a load that is on when everything is off, booked where the shunt does not see it, and found
where nobody said so."""
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import tomlkit

from drivers.vehicle import Ordered, Plan
from monitor.battery.label import Battery, BoardSupply, CurrentSensor, Vehicle
from monitor.commissioning.answer_parsing import Fitted, parse_board, parse_board_and_fitted
from monitor.commissioning.document import build_document
from monitor.commissioning.results import Draft
from monitor.commissioning.steps import NotClear, show_reading
from monitor.config.load import validate
from monitor.detection.join import isolator
from monitor.detection.wiring import closing, plausibility
from monitor.estimation import house_charge as charge
from monitor.findings import ChargeFindings, NotYet
from monitor.sample import Minute
from monitor.sampling.gather import minutes
from tests.benchmarks.ensemble import journey, owner, vehicles

DAY_S = 86400.0
PLAIN = {"house": {"chemistry": "lfp", "rated_capacity_ah": 100}, "starter": {"chemistry": "flooded", "rated_capacity_ah": 70}}


def _vehicle(**tables: object) -> Vehicle:
    return validate(PLAIN | tables, Path("van.toml"), need_sources=False).vehicle


def _draft(**tables: object) -> Draft:
    return Draft(tomlkit.parse(tomlkit.dumps(PLAIN | tables)), Path("van.toml"))


@pytest.mark.parametrize(("said", "supply", "current_a"), [
    ("through 0.3", "through_shunt", 0.3), ("past 0,2", "past_shunt", 0.2), ("through", "through_shunt", 0.25),
    ("elsewhere", "elsewhere", 0.0),
    ("", "unknown", 0.0), ("skip", "unknown", 0.0)])
def test_what_is_answered(said: str, supply: str, current_a: float) -> None:
    found = parse_board(said)
    assert (found.supply, found.current_a) == (supply, pytest.approx(current_a))


@pytest.mark.parametrize(("said", "supply", "fitted"), [
    ("through 0.25, dc-dc, solar 2, shore", "through_shunt", Fitted("dc_dc", 2, True)),
    ("past 0,2, relay, no solar", "past_shunt", Fitted("isolator", 0)),
    ("Relay, Solar, Inverter, shunt in positive", "unknown", Fitted("isolator", 1, None, True, "high")),
    ("elsewhere; dcdc", "elsewhere", Fitted("dc_dc")), ("solar 3, through", "through_shunt", Fitted(None, 3)),
    ("", "unknown", Fitted()), ("skip", "unknown", Fitted()), ("through 0.3", "through_shunt", Fitted())])
def test_what_else_is_fitted_is_said_in_the_same_answer(said: str, supply: str, fitted: Fitted) -> None:
    assert parse_board_and_fitted(said)[0].supply == supply and parse_board_and_fitted(said)[1] == fitted


@pytest.mark.parametrize(("said", "sentence"), [
    ("through 0.25, windmill", "'windmill' is none of: relay"), ("through, past", "says twice"), ("solar 2, no solar", "contradicts"),
    ("relay, dc-dc", "contradicts"), ("solar 9", "through, past or elsewhere"), ("yes", "through, past or elsewhere"),
    ("through 40, relay", "no small board")])
def test_what_cannot_be_fitted_gets_one_sentence(said: str, sentence: str) -> None:
    with pytest.raises(NotClear, match=sentence):
        parse_board_and_fitted(said)


def test_what_is_fitted_is_drawn_and_what_was_not_named_stays() -> None:
    draft = _draft(wiring={"inverter": True, "solar_charger_count": 2})
    assert "Wiring draws it" in draft.note_fitted(Fitted("dc_dc", None, True))
    config = validate(draft.doc.unwrap(), Path("van.toml"), need_sources=False)
    assert (config.wiring.inverter, config.wiring.solar_charger_count, config.wiring.shore_charger) == (True, 2, True)
    assert config.vehicle.charging == "dc_dc"
    assert draft.note_fitted(Fitted()) == ""
    again = build_document("van", ("agm", 100.0), ("flooded", 70.0), {}, "a.db", draft.doc)
    assert again.unwrap()["wiring"] == draft.doc.unwrap()["wiring"]


@pytest.mark.parametrize("said", ["yes", "through 40", "past 0"])
def test_an_absurd_answer_gets_one_sentence(said: str) -> None:
    with pytest.raises(NotClear, match="as: through 0.25|no small board"):
        parse_board(said)


def test_past_the_shunt_the_board_is_booked_all_the_time() -> None:
    """0.25 A for a day are 6.0 Ah (arithmetic). The shunt shows -2.00 A with a true zero of 0.05 A, and its gain is 1.02."""
    shunt = {"offset_a": 0.05, "gain": 1.02}
    past = _vehicle(shunt=shunt, board={"supply": "past_shunt", "current_a": 0.25}).current_sensor
    plain = _vehicle(shunt=shunt).current_sensor

    def true_a(sensor) -> float:
        return (-2.00 - sensor.offset_a) * sensor.gain

    assert 24 * (true_a(plain) - true_a(past)) == pytest.approx(6.0)
    assert past.offset_sigma_a > plain.offset_sigma_a


@pytest.mark.parametrize("supply", ["through_shunt", "elsewhere", "unknown"])
def test_what_the_shunt_sees_already_is_not_booked_twice(supply: str) -> None:
    assert _vehicle(board={"supply": supply, "current_a": 0.25}).current_sensor == _vehicle().current_sensor


@pytest.mark.parametrize(("supply", "shown_a", "offset_a"), [
    ("through_shunt", -0.20, 0.05),      # everything off: the shunt shows the board and its own 0.05 A
    ("past_shunt", 0.05, 0.05), ("elsewhere", 0.05, 0.05), ("unknown", 0.05, 0.05)])
def test_the_zero_is_the_shunts_own_and_says_that_the_board_is_a_load(supply: str, shown_a: float, offset_a: float) -> None:
    draft = _draft(board={"supply": supply, "current_a": 0.25})
    said = draft.zero(show_reading([shown_a + 0.002 * (k % 3 - 1) for k in range(30)]))
    assert draft.doc["shunt"]["offset_a"] == pytest.approx(offset_a, abs=0.002)
    assert {"through_shunt": "is a load and still on", "past_shunt": "booked as always on", "elsewhere": "its zero now",
            "unknown": "hidden in this zero"}[supply] in said


def test_a_zero_taken_while_the_current_counted_backwards_is_right_after_it_is_turned() -> None:
    """The shunt's own zero is 0.05 A. Backwards the board's -0.25 A show as +0.25: 0.20 A with a zero of -0.05 on that side."""
    draft = _draft(board={"supply": "through_shunt", "current_a": 0.25},
                   source=[{"driver": "hwmon", "chip": "ina226", "measures": {"house_current_a": {"channel": "curr1"}}}])
    draft.zero(show_reading([0.20] * 30))
    draft.direction(6.2, None, discharging=True)
    assert draft.doc["shunt"]["offset_a"] == pytest.approx(0.05, abs=0.005)


def _bypass_found(plan: Plan, vehicle: Vehicle) -> float | None:
    """When a bypass is first named [s], by the count alone."""
    joined, held, plausible = isolator.begin(), charge.begin(vehicle), plausibility.begin()
    for minute in _minutes(plan):
        joined = isolator.update(joined, minute, vehicle)
        held = charge.update(held, minute, vehicle, isolator.findings(joined, vehicle))
        plausible = plausibility.update(plausible, minute, vehicle)
        for condition in plausibility.conditions(plausible, vehicle, charge.findings(held, vehicle)):
            if condition.active and condition.kind == "shunt_bypassed":
                return minute.end_s
    return None


def _minutes(plan: Plan) -> Iterator[Minute]:
    return minutes(sample for sample, _ in journey(plan, 60.0))


CASES = [("lead healthy", 0), ("lead healthy", 2), ("lithium", 0)]


def _case(case: str, number: int) -> Plan:
    return list(vehicles(case, number + 1, seed=5))[number]


@pytest.mark.slow
@pytest.mark.parametrize(("case", "number"), CASES)
def test_a_board_that_nobody_mentioned_is_found_within_days(case: str, number: int) -> None:
    """0.25 A past the shunt from the start, on vehicles that are full every few days."""
    plan = replace(_case(case, number), faults=(Ordered("load_unseen", 0.0, amount=0.25),))
    found_s = _bypass_found(plan, owner(plan))
    assert found_s is not None and found_s <= 9 * DAY_S


def _left_over(plan: Plan, vehicle: Vehicle) -> float | None:
    """When the count between full charges first says so [s]."""
    joined, held, counted = isolator.begin(), charge.begin(vehicle), closing.Closing()
    for minute in minutes(sample for sample, _ in journey(plan, 120.0)):
        joined = isolator.update(joined, minute, vehicle)
        held = charge.update(held, minute, vehicle, isolator.findings(joined, vehicle))
        counted = closing.update(counted, minute, vehicle.current_sensor, charge.findings(held, vehicle))
        if closing.unseen_a(counted, vehicle.current_sensor, vehicle.house):
            return minute.end_s
    return None


@pytest.mark.slow
@pytest.mark.parametrize("number", [0, 2, 4])
def test_two_tenths_of_an_ampere_are_found_within_a_fortnight_where_the_zero_was_measured_well(number: int) -> None:
    """A zero measured by `ampledger setup` is known to 0.01 A; the charge estimate then holds on to it and learns no bypass."""
    plan = _case("lead healthy", number)
    known = CurrentSensor(plan.sensor.current_offset_a, 0.01)
    vehicle = replace(owner(plan), current_sensor=known)
    found_s = _left_over(replace(plan, faults=(Ordered("load_unseen", 0.0, amount=0.2),)), vehicle)
    assert found_s is not None and found_s <= 14 * DAY_S
    assert _left_over(plan, vehicle) is None


@pytest.mark.parametrize(("extra_a", "chemistry", "days", "found"), [
    (0.2, "agm", 8, True), (0.2, "lfp", 8, True), (0.05, "agm", 8, False), (0.02, "lfp", 8, False), (0.2, "agm", 3, False)])
def test_a_count_that_does_not_close_between_full_charges(extra_a: float, chemistry: str, days: int, found: bool) -> None:
    """40 Ah out and in each day with the usual loss of the kind (3 % and 0.5 %), full each noon; ampere-hours by arithmetic."""
    vehicle = replace(_vehicle(), house=Battery("house", chemistry, 100), current_sensor=CurrentSensor(0.03, 0.01))
    loss, state = 0.03 if chemistry == "agm" else 0.005, closing.Closing()
    for hour in range(24 * days):
        full = hour % 24 == 12
        amps = (40.0 * (1 + loss) + 24 * extra_a) / 6 if 6 <= hour % 24 < 12 else -40.0 / 18
        shown = amps + 0.03
        minute = Minute(3600.0 * hour, 3600.0 * (hour + 1), (), covered_s=3600.0, charge_in_ah=max(shown, 0.0),
                        charge_out_ah=max(-shown, 0.0))
        wait = NotYet("x")
        state = closing.update(state, minute, vehicle.current_sensor, ChargeFindings(
            wait, wait, wait, wait, wait, wait, "full" if hour >= 12 else "", 0.0 if full else 3600.0 * ((hour - 12) % 24) + 3600.0))
    seen_a = closing.unseen_a(state, vehicle.current_sensor, vehicle.house)
    assert bool(seen_a) is found
    if found:
        assert seen_a == pytest.approx(extra_a + loss * 40 / 24, abs=0.01)


@pytest.mark.slow
@pytest.mark.parametrize(("case", "number"), CASES)
def test_without_one_or_with_one_that_is_booked_nothing_is_said(case: str, number: int) -> None:
    plan = _case(case, number)
    assert _bypass_found(plan, owner(plan)) is None
    sensor = owner(plan).current_sensor
    booked = replace(owner(plan), current_sensor=replace(sensor, offset_a=sensor.offset_a + 0.25),
                     board=BoardSupply("past_shunt", 0.25, 0.06))
    assert _bypass_found(replace(plan, faults=(Ordered("load_unseen", 0.0, amount=0.25),)), booked) is None


def test_a_vehicle_with_its_board_is_kept_whole() -> None:
    from monitor.store.saving import from_text, to_text

    vehicle = _vehicle(board={"supply": "past_shunt", "current_a": 0.25})
    assert from_text(Vehicle, to_text(vehicle)) == vehicle
