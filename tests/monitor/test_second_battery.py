"""One battery for engine and camp: what shortens the hours does, what cannot be is refused, the page and the command agree."""
import json

import pytest
from click.testing import CliRunner

from monitor.cli import commands
from monitor.findings import Estimate
from monitor.planning.labels import read_label
from monitor.planning.second_battery import CampLoad, OneBattery, answer, battery_of, start_needs
from monitor.reporting import second_battery_words as words

FRIDGE = CampLoad("fridge", 45.0, 10.0)
USUAL = OneBattery("flooded", 70.0, 640.0, 2.0)


@pytest.mark.parametrize("temperature", [25.0, 10.0, 0.0, -10.0])
def test_colder_takes_more_charge(temperature: float) -> None:
    """Each 5 K colder a start takes at least as much charge, and the range is in order."""
    here, colder = start_needs(USUAL, temperature), start_needs(USUAL, temperature - 5)
    assert here.low <= here.usual <= here.high and colder.usual >= here.usual and colder.high >= here.high


def test_warm_and_cold_against_practice() -> None:
    """Common practice: a start in the warm takes a quarter to half of the charge, and is doubtful in hard frost below three quarters."""
    warm, frost = start_needs(USUAL, 20.0), start_needs(USUAL, -18.0)
    assert 0.2 <= warm.usual <= 0.5 and frost.usual >= 0.7


@pytest.mark.parametrize(("other", "sign"), [
    (OneBattery("flooded", 70.0, 640.0, 3.0, True), 1), (OneBattery("flooded", 70.0, 900.0, 2.0), -1),
    (OneBattery("flooded", 70.0, 640.0, 2.0, drop_frac=0.18), 1), (OneBattery("flooded", 70.0, 640.0, 2.0, drop_frac=0.05), -1)])
def test_engine_and_cranking_current(other: OneBattery, sign: int) -> None:
    """A larger engine, fewer amperes or a larger measured drop take more charge."""
    assert sign * (start_needs(other, 0.0).usual - start_needs(USUAL, 0.0).usual) > 0


def test_a_measured_drop_narrows_it() -> None:
    vague, measured = start_needs(OneBattery("flooded", 70.0), 15.0), start_needs(OneBattery("flooded", 70.0, drop_frac=0.09), 15.0)
    assert measured.high - measured.low < vague.high - vague.low


def test_hours_follow_the_load() -> None:
    """Twice the load lasts half as long; a fridge for a night calls for a second battery, a lamp does not."""
    one = answer(USUAL, [FRIDGE])
    two = answer(USUAL, [FRIDGE, FRIDGE])
    assert two.hours.usual == pytest.approx(one.hours.usual / 2) and one.need_two
    assert one.needed_ah == pytest.approx(45 * 10 / 24 / 12.3 * 14, rel=1e-6)
    assert not answer(USUAL, [CampLoad("lamp", 4.0, 3.0)]).need_two


def test_the_camp_costs_life() -> None:
    found = answer(USUAL, [FRIDGE])
    assert isinstance(found.life.years, Estimate) and isinstance(found.life_unused.years, Estimate)
    assert found.life.years.value < 0.3 * found.life_unused.years.value


@pytest.mark.parametrize(("battery", "loads", "night", "temperature", "sentence"), [
    (USUAL, [], 14, 0, "there is no load"), (USUAL, [CampLoad("sun", 5000, 2)], 14, 0, "sun: 5000 W"),
    (USUAL, [FRIDGE], 30, 0, "night is 30 h"), (USUAL, [FRIDGE], 14, -60, "temperature is -60 °C"),
    (OneBattery("lfp", 70.0), [FRIDGE], 14, 0, "lithium"), (OneBattery("agm", 7.0), [FRIDGE], 14, 0, "capacity is 7 Ah"),
    (USUAL, [FRIDGE], 23.5, 0, "more than a day")])
def test_what_cannot_be(battery: OneBattery, loads: list[CampLoad], night: float, temperature: float, sentence: str) -> None:
    with pytest.raises(ValueError) as refused:
        answer(battery, loads, night, temperature)
    assert sentence in str(refused.value) and "\n" not in str(refused.value)


def test_by_the_label() -> None:
    found = battery_of(read_label("95Ah AGM 850A EN"), 2.5, True)
    assert (found.chemistry, found.capacity_ah, found.diesel) == ("agm", 95.0, True) and found.cranking_a == pytest.approx(895, abs=1)
    with pytest.raises(ValueError, match="no capacity"):
        battery_of(read_label("LN3"))


def test_the_command_and_the_headline() -> None:
    said = CliRunner().invoke(commands, ["second-battery", "--load", "fridge,45,10", "--label", "70Ah 640A EN", "--temperature", "0"])
    assert said.exit_code == 0 and said.output.startswith("Fit a second battery") and "exhaust kills" in said.output
    plain = json.loads(CliRunner().invoke(
        commands, ["second-battery", "--load", "fridge,45,10", "--label", "70Ah 640A EN", "--json"]).output)
    assert plain["need_two"] is True and plain["hours"]["low"] < plain["hours"]["high"]
    for load in (FRIDGE, CampLoad("lamp", 4.0, 3.0)):
        assert len(words.describe_headline(answer(USUAL, [load])).split()) <= 12
    assert CliRunner().invoke(commands, ["second-battery", "--load", "fridge", "--label", "70Ah"]).exit_code == 2
