"""Loads found by their steps and named: told apart, found again, counted, and the names undone."""
from dataclasses import replace

import pytest

from monitor.battery.label import Battery, NamedLoad, Vehicle
from monitor.findings import ChargeFindings, Estimate, JoinFindings, NotYet
from monitor.process import load_names
from monitor.reporting import load_words
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from monitor.store.saving import from_text, to_text
from monitor.usage import counts, found_loads, load_shares, loads
from monitor.usage.found_loads import FoundLoadsState

NOT_YET = NotYet("not part of this test")
CHARGE = ChargeFindings(Estimate(0.7, 0.65, 0.75, "counting"), Estimate(95.0, 85.0, 105.0, "learnt"), NOT_YET, NOT_YET, NOT_YET, NOT_YET)
VEHICLE = Vehicle(Battery("house", "agm", 100.0, absorption_v=14.4, float_v=13.6), Battery("starter", "agm", 60.0))
HOUR, DAY = 3600.0, 86400.0

Block = tuple[float, float, float]      # from [h], to [h], amperes


def household(days: int, fridge_a: float = 4.0, every_h: float = 0.75, on_h: float = 0.25, heater_a: float = 1.9,
              laptop_a: float = 5.4) -> dict[str, list[Block]]:
    """A fridge that cycles, a heater at night, a laptop in the evening; the same every day, shifted by some minutes."""
    made: dict[str, list[Block]] = {"fridge": [], "heater": [], "laptop": []}
    for k in range(int(days * 24 / every_h)):
        made["fridge"].append((k * every_h + 0.11, k * every_h + 0.11 + on_h, fridge_a))
    for day in range(days):
        made["heater"].append((24 * day + 1.03 + 0.2 * (day % 3), 24 * day + 5.21, heater_a))
        made["laptop"].append((24 * day + 19.37 + 0.1 * (day % 2), 24 * day + 21.05, laptop_a))
    return made


def truth_ah(blocks: list[Block], day: int) -> float:
    return sum(max(min(b, 24 * day + 24) - max(a, 24 * day), 0.0) * amps for a, b, amps in blocks)


def live(made: dict[str, list[Block]], days: float, vehicle: Vehicle = VEHICLE, step_s: float = 30.0, state: FoundLoadsState | None = None,
         gap: tuple[float, float] = (0.0, 0.0), from_h: float = 0.0, noise_a: float = 0.02):
    """The findings and the state after some days in which no sun shines; gap: hours without readings."""
    edges = sorted((at * HOUR, sign * amps) for blocks in made.values() for a, b, amps in blocks for at, sign in ((a, 1), (b, -1)))

    def drawn() -> list[Sample]:
        samples, k, amps, at_s = [], 0, 0.3, from_h * HOUR
        while k < len(edges) and edges[k][0] <= at_s:
            amps += edges[k][1]
            k += 1
        while at_s < days * DAY:
            before, at_s = at_s, at_s + step_s
            mean = amps * step_s
            while k < len(edges) and edges[k][0] <= at_s:
                mean += edges[k][1] * (at_s - edges[k][0])
                amps += edges[k][1]
                k += 1
            if not gap[0] * HOUR < at_s <= gap[1] * HOUR:
                ripple = noise_a * ((before / step_s * 7919) % 13 - 6) / 6
                samples.append(Sample(at_s, 12.6, -mean / step_s + ripple, 12.7, 20.0, solar_current_a=0.0, hour=at_s / HOUR % 24))
        return samples

    held, loaded, counted = state or found_loads.begin(), loads.begin(), counts.begin()
    news = []
    at = 0.0
    for minute in minutes(drawn()):
        counted = counts.update(counted, minute, JoinFindings(engine="off"))
        loaded = loads.update(loaded, minute, vehicle, JoinFindings(engine="off"), CHARGE)
        held = found_loads.update(held, minute, vehicle, JoinFindings(engine="off"), loaded, counted)
        news += held.news
        at = minute.end_s
    return load_shares.findings(held, vehicle, loaded, at), held, news


def named(found: load_shares.LoadSharesFindings, **currents_a: float) -> Vehicle:
    """The vehicle with the loads named that draw so much."""
    names = []
    for name, amps in currents_a.items():
        fits = [load for load in found.loads if abs(load.current_a.value / amps - 1) < 0.1]
        assert len(fits) == 1, f"{name} of {amps} A: {[(load.current_a.value, load.count) for load in found.loads]}"
        names.append(NamedLoad(name, fits[0].number, fits[0].current_a.value, fits[0].run_s))
    return replace(VEHICLE, named_loads=tuple(names))


def by_name(found: load_shares.LoadSharesFindings) -> dict[str, load_shares.LoadShare]:
    return {load.name: load for load in found.loads if load.name}


THREE = {"fridge": 4.0, "heater": 1.9, "laptop": 5.4}


@pytest.fixture(scope="module")
def four_days():
    made = household(5)
    found, _, _ = live(made, 2.02)
    return made, live(made, 4.02, named(found, **THREE))


def test_each_load_takes_what_it_took_and_the_range_is_neither_too_narrow_nor_too_wide(four_days) -> None:
    made, (found, _, _) = four_days
    for name, share in by_name(found).items():
        truth = truth_ah(made[name], 3)
        assert share.yesterday_ah.value == pytest.approx(truth, rel=0.05), name
        assert share.yesterday_ah.low < truth < share.yesterday_ah.high
        assert share.yesterday_ah.high - share.yesterday_ah.low < 0.6 * truth
        usual = sum(truth_ah(made[name], day) for day in range(1, 4)) / 3
        assert share.usual_ah_per_day.low < usual < share.usual_ah_per_day.high
    assert set(by_name(found)) == set(THREE)


def test_what_has_no_name_is_one_line_and_the_lines_add_up(four_days) -> None:
    _, (found, _, _) = four_days
    rows = load_words.table(found)
    assert [row.name for row in rows][-2:] == [load_words.UNNAMED, load_words.WHOLE]
    assert found.unnamed_yesterday_ah.value == pytest.approx(
        found.yesterday_ah.value - sum(load.yesterday_ah.value for load in by_name(found).values()), abs=0.01)
    assert found.unnamed_yesterday_ah.low < 24 * 0.3 < found.unnamed_yesterday_ah.high


def test_the_day_that_ends_is_kept_in_the_log(four_days) -> None:
    made, (_, _, news) = four_days
    days = [event for event in news if event.kind == found_loads.DAY_EVENT]
    assert days and dict(days[-1].figures)["heater ah"] == pytest.approx(truth_ah(made["heater"], 3), rel=0.06)
    assert days[-1].message.startswith("Loads of the day: ")


def test_a_load_that_runs_is_said_to_be_on() -> None:
    made = {"heater": [(2.0, 6.0, 1.9), (20.0, 30.0, 1.9)]}
    vehicle = replace(VEHICLE, named_loads=(NamedLoad("heater", 1, 1.9, 4 * HOUR),))
    found, _, _ = live(made, 0.95, vehicle)
    assert by_name(found)["heater"].is_on
    assert by_name(found)["heater"].today_ah.value == pytest.approx((4.0 + 2.8) * 1.9, rel=0.06)


def test_two_loads_of_one_size_are_told_apart_by_their_length() -> None:
    made = {"fridge": household(4, every_h=0.75)["fridge"],
            "fan": [(24 * day + 1.0, 24 * day + 5.0, 4.1) for day in range(4)]}
    vehicle = replace(VEHICLE, named_loads=(NamedLoad("fridge", 1, 4.0, 900.0), NamedLoad("fan", 2, 4.1, 4 * HOUR)))
    found, _, _ = live(made, 3.02, vehicle)
    for name in ("fridge", "fan"):
        share, truth = by_name(found)[name].yesterday_ah, truth_ah(made[name], 2)
        assert share.low < truth < share.high
        assert share.value == pytest.approx(truth, rel=0.25)


def test_a_name_is_found_again_when_everything_learnt_is_lost() -> None:
    made = household(5)
    first, _, _ = live(made, 2.02)
    vehicle = named(first, **THREE)
    # begun afresh, and in an hour in which other loads come first: the numbers are others
    found, _, _ = live(made, 4.02, vehicle, from_h=43.0)
    for name, share in by_name(found).items():
        assert share.yesterday_ah.value == pytest.approx(truth_ah(made[name], 3), rel=0.1), name


def test_a_name_outlives_a_gap_and_a_restart(four_days) -> None:
    made, (before, state, _) = four_days
    vehicle = named(before, **THREE)
    again = from_text(FoundLoadsState, to_text(state))
    assert again == state
    found, _, _ = live(made, 4.9, vehicle, state=again, from_h=4.02 * 24, gap=(98.0, 103.0))
    assert {load.name: load.number for load in found.loads if load.name} == {load.name: load.number for load in before.loads if load.name}
    # of five hours nothing was seen: the fridge goes by what is usual, and the range says so
    fridge = by_name(found)["fridge"].today_ah
    truth = sum(max(min(b, 4.9 * 24) - max(a, 96.0), 0.0) * amps for a, b, amps in made["fridge"])
    assert fridge.low < truth < fridge.high


def test_a_load_that_is_another_does_not_inherit_the_name() -> None:
    vehicle = replace(VEHICLE, named_loads=(NamedLoad("fridge", 1, 4.0, 900.0),))
    found, _, _ = live({"kettle": [(24 * day + h, 24 * day + h + 0.1, 11.0) for day in range(2) for h in (1.0, 2.0, 3.0)]}, 2.02, vehicle)
    assert by_name(found)["fridge"].yesterday_ah.value == 0 if isinstance(by_name(found)["fridge"].yesterday_ah, Estimate) else True
    assert by_name(found)["fridge"].count == 0
    assert any(load.current_a.value == pytest.approx(11.0, rel=0.05) and not load.name for load in found.loads)


def test_nothing_is_said_of_loads_that_a_fault_of_the_shunt_spoils() -> None:
    from monitor.dependence import FIGURES, HIDES

    assert FIGURES["named"] == FIGURES["loads"]
    assert all("named" in groups for groups, _ in HIDES.values() if "loads" in groups)


@pytest.mark.parametrize(("number", "name", "words"), [
    (7, "fridge", "no load number 7"), (1, "x" * 30, "24 letters"), (1, "a\x00b", "24 letters"), (1, "", "no name to take away")])
def test_a_name_that_cannot_be_kept_is_refused_in_words(four_days, number: int, name: str, words: str) -> None:
    _, (_, state, _) = four_days
    found = tuple(load for load in state.found if load.number == 1)
    with pytest.raises(ValueError, match=words):
        load_names.rename(found, (), number, name)


def test_names_are_changed_taken_away_and_kept_in_the_log(four_days) -> None:
    _, (_, state, _) = four_days
    found = state.found
    one = load_names.rename(found, (), found[0].number, "fridge")
    two = load_names.rename(found, one, found[0].number, "  cool   box ")
    assert [n.name for n in two] == ["cool box"]
    assert load_names.rename(found, two, found[0].number, "") == ()
    assert load_names.read(load_names.to_text(two)) == two
    assert load_names.read("not what was written") == ()


@pytest.mark.parametrize(("recording", "day"), [("agm-camp", 3), ("cloudy-flat", 1)])
def test_the_fridge_of_a_recording_takes_what_its_nights_show(recording: str, day: int) -> None:
    """Between midnight and five only fridge and standby draw: what lies above the middle of the two levels is the fridge's."""
    import csv
    import gzip
    from pathlib import Path
    from statistics import median

    from monitor import pipeline
    from monitor.process import replay
    from monitor.sampling.gather import minutes as gathered

    path = Path(__file__).parents[1] / "recordings" / recording / "readings.csv.gz"
    until_s = day * DAY + 5 * HOUR
    with gzip.open(path, "rt") as file:
        night = [-float(row["house_a"]) for row in csv.DictReader(file)
                 if until_s - 5 * HOUR < float(row["t_s"]) <= until_s and row["house_a"]]
    middle = (min(night) + max(night)) / 2
    base = median(a for a in night if a < middle)
    counted_ah = sum(a - base for a in night if a > middle) * 30 / 3600
    level_a = median(a for a in night if a > middle) - base
    vehicle = replace(VEHICLE, named_loads=(NamedLoad("fridge", 1, level_a, 900.0),))
    held, found = pipeline.begin(vehicle), None
    for minute in gathered(replay.samples(path, None, 100.0)):
        held, found = pipeline.step(held, minute, vehicle)
        if minute.end_s >= until_s:
            break
    share = by_name(found.named)["fridge"]
    assert share.today_ah.value == pytest.approx(counted_ah, rel=0.12)
    assert share.today_ah.low < counted_ah < share.today_ah.high
    assert share.today_ah.high - share.today_ah.low < 0.6 * counted_ah + 0.5
