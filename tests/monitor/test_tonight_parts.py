"""The parts of tonight's forecast: paths, reserve, levers, outcomes, history and the solar clock."""
import re
from dataclasses import replace
from math import log
from random import Random
from statistics import pstdev

import pytest

from monitor.battery.label import Battery, Vehicle
from monitor.findings import ChargeFindings, Estimate, ForecastFindings, NotYet
from monitor.forecast import advisory, levers, night, outcomes, outlook_days, reserve
from monitor.forecast.advisory import Evening
from monitor.forecast.outcomes import Learnt, NightOutcome
from monitor.posterior import Posterior
from monitor.sample import Minute
from monitor.store.saving import from_text, to_text
from monitor.usage import history, solar_clock
from monitor.usage.harvest import Sky
from monitor.usage.history import DAY_SLOTS, History
from monitor.usage.loads import LoadsState
from tests.posteriors import of_normal

NOT_YET = NotYet("not part of this test")
VEHICLE = Vehicle(Battery("house", "agm", 100.0), Battery("starter", "agm", 60.0))
#: 22:00 solar: two amperes through the night, the sun from 06:00 on.
EVENING_SLOT = 44


def start(above_frac: float = 0.2, above_sigma_frac: float = 0.0, **more) -> night.Start:
    facts = {"slot": EVENING_SLOT, "first_frac": 1.0, "posterior": of_normal(0.5 + above_frac, above_sigma_frac, 100.0, 0.0),
             "reserve_frac": 0.5, "below": above_frac <= 0, "lead_acid": True, "kept_frac": 0.97, "by_day": True}
    return night.Start(**(facts | more))


def days(load_a: float = 2.0, sun_a: float = 8.0, load_sigma: float = 0.0) -> night.Days:
    hours = [(EVENING_SLOT + i) % DAY_SLOTS / 2 for i in range(DAY_SLOTS)]
    sun = tuple(sun_a if 6 <= hour < 18 else 0.0 for hour in hours)
    return night.Days(((1.0, 1.0, (load_a,) * DAY_SLOTS),), ((1.0, sun),), load_sigma, 0.0)


def test_a_path_counts_down_to_the_reserve_as_arithmetic_says() -> None:
    path = night.draw_scenarios(start(0.10), days(), 1, Random(1))[0]
    assert path.reserve_at_h == pytest.approx(5.0)        # 10 Ah at 2 A
    assert path.lowest_ah == pytest.approx(-6.0)          # eight hours until the sun, 16 Ah
    assert path.lowest_at_h == path.sun_at_h == pytest.approx(8.0)


def test_a_path_that_is_full_takes_no_more() -> None:
    path = night.draw_scenarios(start(0.45), days(sun_a=30.0), 1, Random(1))[0]
    assert max(path.track_ah) <= 50.0
    assert path.full_at_h is not None


def test_half_a_slot_that_has_passed_is_not_lived_twice() -> None:
    path = night.draw_scenarios(start(0.10, first_frac=0.5), days(), 1, Random(1))[0]
    assert path.reserve_at_h == pytest.approx(5.0)
    assert path.sun_at_h == pytest.approx(7.75)


def test_odds_are_those_of_the_doubt_in_the_charge() -> None:
    # 16 Ah are needed, 16 are there: one in two; with one sigma more there are five in six
    for above, expected in ((0.16, 0.50), (0.18, 0.16), (0.14, 0.84)):
        made = night.draw_scenarios(start(above, 0.02), days(), 200, Random(3))
        assert sum(p.lowest_ah < 0 for p in made) / 200 == pytest.approx(expected, abs=0.03)


def test_below_the_reserve_only_a_next_time_is_told() -> None:
    made = night.draw_scenarios(start(-0.05), days(), 1, Random(1))[0]
    assert made.reserve_at_h is None or made.reserve_at_h > 8.0
    assert made.lowest_ah < 0


def test_the_same_seed_gives_the_same_paths() -> None:
    first, second = (night.draw_scenarios(start(0.2, 0.03), days(load_sigma=0.2), 50, Random(7)) for _ in range(2))
    assert first == second


def test_a_drive_that_brings_what_is_missing_is_offered_with_its_effect() -> None:
    made = night.draw_scenarios(start(0.10, 0.02), days(), 100, Random(2))
    found = dict(levers.levers(made, lambda p: p, (("the fridge", 1.5),), 20.0))
    drive = next(text for text in found if text.startswith("Drive"))
    assert found[drive] < levers.SAFE
    minutes = int(drive.split()[1])
    assert 15 <= minutes <= 45          # 6 Ah missing and some to be safe, at 20 A
    assert found[next(text for text in found if "fridge" in text)] < levers.SAFE    # off as late as still does it


def test_the_smallest_act_comes_first_and_names_its_time() -> None:
    """Little is missing: use less, then rest the fridge, then drive; each until or before a time of day."""
    made = night.draw_scenarios(start(0.14, 0.02), days(), 100, Random(2))
    found = [text for text, _ in levers.levers(made, lambda p: p, (("the fridge", 1.5),), 20.0, 20.0, 14.0, 6 * 3600.0)]
    assert re.fullmatch(r"Use \d\.\d A less until about \d\d:\d\d\.", found[0]), found
    assert any(re.fullmatch(r"Switch the fridge off from (now|about \d\d:\d\d) until about \d\d:\d\d\.", text) for text in found[1:])
    assert re.fullmatch(r"Drive \d+ minutes before about 02:00\.", found[-1]), found
    assert all(len(text.split()) <= 12 for text in found)


def test_a_long_drive_is_never_the_only_way_out() -> None:
    """A small alternator, a night that is far too short, and nothing that can be spared: charging from elsewhere is named."""
    made = night.draw_scenarios(start(0.02, 0.02), days(), 100, Random(2))
    found = [text for text, _ in levers.levers(made, lambda p: p, (), 5.0, None, 0.4)]
    drive = next(text for text in found if text.startswith("Drive"))
    assert int(drive.split()[1]) > 100
    assert any(text.startswith("Charge about") for text in found[:found.index(drive)]), found


def short_by(missing_ah: float) -> list[night.Scenario]:
    """Nights that all end so far below the reserve."""
    made = night.draw_scenarios(start(0.02, 0.02), days(), 100, Random(2))
    return [replace(path, lowest_ah=-missing_ah, lowest_at_h=8.0) for path in made]


def test_where_nothing_is_drawn_nothing_can_be_used_less_or_switched_off() -> None:
    """An empty battery whose own electronics have parted it from its loads: it has to be charged."""
    found = [text for text, _ in levers.levers(short_by(20.0), lambda p: p, (("the fridge", 1.5),), None, 20.0, -20.0)]
    assert len(found) == 1 and found[0].startswith("Charge about 20 Ah")


@pytest.mark.parametrize(("drive_a", "asked"), [(6.0, ["Drive 200 minutes."]), (4.3, [])])
def test_no_drive_of_half_a_day_is_asked(drive_a: float, asked: list[str]) -> None:
    found = [text for text, _ in levers.levers(short_by(20.0), lambda p: p, (), drive_a)]
    assert [text for text in found if text.startswith("Drive")] == asked


def test_much_can_be_used_less_where_much_is_drawn() -> None:
    """Ten amperes for eight hours, 48 Ah of it too much: six of them less."""
    found = [text for text, _ in levers.levers(short_by(48.0), lambda p: p, (), None, None, 32.0)]
    assert re.fullmatch(r"Use [67]\.\d A less until the sun is back\.", found[0])


def test_nothing_is_asked_of_a_safe_night() -> None:
    made = night.draw_scenarios(start(0.30, 0.02), days(), 100, Random(2))
    assert levers.levers(made, lambda p: p, (("the fridge", 1.5),), 20.0) == (("Nothing to do.", 0.0),)


def charge(frac: float, half_width: float, correlation: float = 0.0) -> ChargeFindings:
    return ChargeFindings(
        Estimate(frac, frac - half_width, frac + half_width, "counting"), Estimate(100.0, 90.0, 110.0, "learnt"),
        NOT_YET, NOT_YET, Estimate(0.008, 0.007, 0.009, "measured"), NOT_YET,
        posterior=of_normal(frac, half_width / 1.96, 100.0, 0.05, correlation))


def test_a_cut_out_that_comes_before_the_reserve_is_the_reserve() -> None:
    low = Battery("house", "agm", 100.0, reserve_soc_frac=0.2, cutout_voltage_v=12.1)
    found = reserve.margin(low, charge(0.8, 0.04), 5.0)
    # 12.1 V at the terminals under 5 A is about 12.18 V at rest: near 37 % for the usual curve
    assert 0.3 < found.reserve_frac < 0.5
    plain = reserve.margin(Battery("house", "agm", 100.0, reserve_soc_frac=0.2), charge(0.8, 0.04), 5.0)
    assert plain.reserve_frac == 0.2
    assert plain.usable_ah == pytest.approx(60.0)


def test_charge_and_capacity_that_are_unsure_together_are_drawn_together() -> None:
    """A battery that is smaller than believed and emptier for it ends lower: the paths carry the tie of the belief."""
    made = {tie: night.draw_scenarios(start(posterior=of_normal(0.75, 0.04, 100.0, 0.1, tie)), days(), 400, Random(5))
            for tie in (-0.9, 0.9)}
    begin_ah = {tie: [path.track_ah[0] for path in paths] for tie, paths in made.items()}
    spread = {tie: pstdev(values) for tie, values in begin_ah.items()}
    # (z - 0.5) q: 4 Ah by the charge, 2.5 Ah by the capacity, added with their sign
    assert spread[0.9] == pytest.approx(6.3, abs=0.6) and spread[-0.9] == pytest.approx(2.1, abs=0.5)


def test_a_belief_with_two_peaks_is_drawn_with_two_peaks() -> None:
    either = Posterior(((0.7, 0.9, log(100.0), 1e-4, 1e-4, 0.0), (0.3, 0.52, log(100.0), 1e-4, 1e-4, 0.0)))
    made = night.draw_scenarios(start(posterior=either), days(), 200, Random(5))
    assert sum(path.lowest_ah < 0 for path in made) == 60


def test_what_is_saved_of_a_belief_comes_back_and_keeps_its_moments() -> None:
    whole = Posterior(tuple((1 / 20, 0.3 + 0.02 * k, log(90.0 + k), 1e-3, 4e-3, 1e-3) for k in range(20)), 0.05)
    few = whole.reduce()
    assert len(few.parts) < 12 and from_text(Posterior, to_text(few)) == few
    assert few.mean() == pytest.approx(whole.mean(), rel=1e-6) and few.covariance() == pytest.approx(whole.covariance(), rel=1e-5)
    assert few.charge() == pytest.approx(whole.charge(), abs=0.004)
    with pytest.raises(ValueError):
        from_text(Posterior, '{"_":"Posterior","packed":"AAAA=="}')


def test_no_forecast_without_the_belief_itself() -> None:
    battery = Battery("house", "agm", 100.0)
    assert reserve.margin(battery, replace(charge(0.8, 0.04), posterior=None), 5.0) is None


def told(said: float, came: bool, lowest: float = 0.5, raw: float | None = None) -> NightOutcome:
    return NightOutcome(0.0, said, said if raw is None else raw, 0.4, 0.6, lowest, 0.5, 1.0 if came else None)


def test_forecasts_that_cry_wolf_are_believed_less() -> None:
    learnt = Learnt()
    for k in range(40):
        learnt = outcomes.judge_night(learnt, told(0.7, k % 3 == 0))
    assert 1 / 3 < outcomes.correct_probability(learnt, 0.7) < 0.55      # it came one time in three; forty nights weigh much
    assert outcomes.correct_probability(Learnt(), 0.7) == pytest.approx(0.7)


def test_an_interval_that_misses_too_often_grows_and_one_that_never_does_shrinks() -> None:
    missing, always = Learnt(), Learnt()
    for k in range(40):
        missing = outcomes.judge_night(missing, told(0.1, False, lowest=0.3 if k % 2 else 0.5))
        always = outcomes.judge_night(always, told(0.1, False))
    assert missing.spread > 1.3
    assert always.spread < 0.8


def test_nights_of_more_than_two_months_ago_teach_nothing() -> None:
    """Forecasts that cried wolf, and then good ones: after fifty of these the bad ones still count a little, after seventy no more."""
    def after(good_nights: int) -> float:
        learnt = Learnt()
        for k in range(30 + good_nights):
            learnt = outcomes.judge_night(learnt, told(0.9, False) if k < 30 else told(0.1, False))
        return outcomes.correct_probability(learnt, 0.9)

    only_good = Learnt()
    for _ in range(60):
        only_good = outcomes.judge_night(only_good, told(0.1, False))
    assert after(50) < outcomes.correct_probability(only_good, 0.9) - 0.1
    assert after(70) == outcomes.correct_probability(only_good, 0.9)


def test_forecasts_the_wrong_way_round_are_never_turned_about() -> None:
    """It comes where it was said not to, and does not where it was: the odds say little then, but not the opposite."""
    learnt = Learnt()
    for k in range(60):
        learnt = outcomes.judge_night(learnt, told(0.98 if k % 2 else 0.02, k % 2 == 0))
    low, high = (outcomes.logit(outcomes.correct_probability(learnt, p)) for p in (0.2, 0.8))
    assert (high - low) / (outcomes.logit(0.8) - outcomes.logit(0.2)) == pytest.approx(0.3, abs=0.01)


def test_a_band_that_always_misses_ends_at_twice_its_width() -> None:
    learnt = Learnt()
    for _ in range(60):
        learnt = outcomes.judge_night(learnt, told(0.1, False, lowest=0.3))
    assert learnt.spread == pytest.approx(2.0)


def test_history_keeps_three_weeks_and_never_turns_a_gap_into_a_zero() -> None:
    past = History()
    for slot in (*range(100), *range(110, 22 * DAY_SLOTS)):
        past = history.add(past, slot, 2.0, 1.0, 20.0)
    assert len(past.load_a) == 21 * DAY_SLOTS
    assert past.next_slot == 22 * DAY_SLOTS
    assert past.load_a[105 - past.first_slot] is None
    day = history.window(past.load_a, past.first_slot, 90)
    assert history.fill_slot(day, (3.0,) * DAY_SLOTS)[15] == 3.0
    assert history.window(past.load_a, past.first_slot, past.next_slot - 10) == ()


def test_a_pause_of_unknown_length_moves_only_what_came_after_it() -> None:
    past = History()
    for slot in range(2 * DAY_SLOTS):
        past = history.add(past, slot, float(slot), 0.0, None)
    moved = history.renumber(past, 3, from_slot=DAY_SLOTS)
    assert moved.first_slot == 0
    assert moved.load_a[DAY_SLOTS - 1] == DAY_SLOTS - 1
    assert moved.load_a[DAY_SLOTS:DAY_SLOTS + 4] == (None, None, None, float(DAY_SLOTS))


def test_noon_is_the_middle_of_the_harvest_whatever_the_numbering() -> None:
    sun = tuple(max(0.0, 5.0 - abs(slot - 30)) for slot in range(DAY_SLOTS))   # middle at slot 30.5 of the log
    assert solar_clock.middle_of(sun, 0, 0) == pytest.approx(30.5 * 1800, abs=60)
    assert solar_clock.middle_of((0.0,) * DAY_SLOTS, 0, 0) is None


def said_at(odds: dict[float, float], bedtime: float = 22.0, soon_h: float = 3.0) -> list[tuple[float, bool]]:
    """Messages of an evening from two o'clock on, (solar hour, is a warning); odds from the hour they begin on."""
    held, found = Evening(past_bedtime=False), []
    for k in range(14 * 6, 28 * 6):
        hour = k / 6
        p = odds[max(from_hour for from_hour in odds if from_hour <= hour)]
        forecast = ForecastFindings(hour * 3600, p, reserve_in_low_s=soon_h * 3600, reserve_in_s=4 * 3600.0)
        held = advisory.step(held, forecast, p, reserve.Margin(0.1, 100.0, 0.5, of_normal(0.6, 0.02, 100.0, 0.05)), hour >= bedtime,
                            hour % 24, True)
        if held.said_s == hour * 3600:
            found.append((round(hour, 1), held.high))
    return found


def test_what_an_afternoon_may_still_change_is_a_heads_up_and_no_warning() -> None:
    assert said_at({14.0: 0.1, 16.0: 0.65, 19.0: 0.1}) == [(16.2, False)]
    assert said_at({14.0: 0.1, 16.0: 0.9}) == [(16.2, True)]


def test_a_heads_up_of_the_afternoon_becomes_one_warning_at_bedtime_where_the_odds_are_high_by_then() -> None:
    assert said_at({14.0: 0.1, 16.0: 0.65, 20.0: 0.85}) == [(16.2, False), (22.0, True)]
    assert said_at({14.0: 0.1, 16.0: 0.65, 20.0: 0.7}) == [(16.2, False)]


def test_a_warning_is_not_said_twice_however_the_odds_rise() -> None:
    assert said_at({14.0: 0.1, 21.9: 0.55, 25.0: 0.99}) == [(22.0, True)]
    assert said_at({14.0: 0.1, 16.0: 0.45, 18.0: 0.95, 20.0: 0.5, 23.0: 0.99}) == [(16.2, False), (18.0, True)]


def late(odds: dict[float, float], at_bedtime: bool = True) -> list[float]:
    """Hours of the messages of a night from bedtime at ten on; odds from the hour they begin on; or of a log that began then."""
    held, found = Evening(past_bedtime=not at_bedtime), []
    for k in range(22 * 6, 31 * 6):
        hour = k / 6
        p = odds[max(from_hour for from_hour in odds if from_hour <= hour)]
        forecast = ForecastFindings(hour * 3600, p, reserve_in_low_s=3 * 3600.0, reserve_in_s=4 * 3600.0)
        margin = reserve.Margin(0.1, 100.0, 0.5, of_normal(0.6, 0.02, 100.0, 0.05))
        held = advisory.step(held, forecast, p, margin, True, hour % 24, hour < 24)
        if held.said_s == hour * 3600:
            found.append(round(hour, 1))
    return found


def test_after_bedtime_odds_that_have_risen_are_told_and_others_are_not() -> None:
    assert late({22.0: 0.25, 26.0: 0.37}) == [26.2]       # by 0.12, at the second look
    assert late({22.0: 0.25, 26.0: 0.33}) == []           # by 0.08
    assert late({22.0: 0.29, 23.0: 0.37}) == []           # before midnight alike


def test_a_single_look_after_bedtime_is_not_believed() -> None:
    assert late({22.0: 0.1, 26.0: 0.6, 26.1: 0.1}) == []
    assert late({22.0: 0.1, 26.0: 0.6, 26.3: 0.1}) == [26.2]


def test_a_log_that_began_after_bedtime_speaks_after_three_hours_of_the_same_odds() -> None:
    assert late({22.0: 0.6}, at_bedtime=False) == [24.8]


def judged_at(solar_hours: list[float], issued_hour: float, loaded: LoadsState) -> list[float]:
    """Hours at which the night that was forecast counts as over."""
    waiting = Evening(past_bedtime=False, waiting=told(0.1, False))
    margin = reserve.Margin(0.1, 100.0, 0.5, of_normal(0.6, 0.02, 100.0, 0.05))
    state = replace(waiting, waiting=replace(told(0.1, False), issued_s=issued_hour * 3600.0))
    return [hour for hour in solar_hours if advisory.judge_evening(
        state, Learnt(), charge(0.6, 0.02), margin, loaded, hour * 3600.0, hour % 24)[1].nights]


SUNNY = LoadsState(load_a=1.0, harvest_a=3.0)


def test_charge_from_elsewhere_in_the_small_hours_is_no_sun() -> None:
    assert judged_at([27.0, 27.25, 28.25, 30.0], 22.0, SUNNY) == [28.25, 30.0]


def test_a_bedtime_before_sunset_does_not_end_its_night_at_once() -> None:
    assert judged_at([18.2, 19.0, 19.75, 27.0, 28.25], 18.0, SUNNY) == [28.25]


def test_a_night_whose_morning_never_brightens_is_over_at_two() -> None:
    assert judged_at([36.0, 37.8, 38.1, 39.0], 22.0, LoadsState(load_a=3.0, harvest_a=1.0)) == [38.1, 39.0]


def test_without_a_clock_bedtime_is_some_hours_after_the_sun_has_gone() -> None:
    """The sun leaves at seven: half past nine."""
    dark = Minute(0.0, 60.0, ())
    loaded = LoadsState(sky=Sky(rise=10, set=38))
    assert not advisory.past_bedtime(dark, VEHICLE, loaded, 21.2) and advisory.past_bedtime(dark, VEHICLE, loaded, 21.6)


def test_a_day_brighter_than_any_before_brings_more_this_afternoon_but_not_tomorrow() -> None:
    def harvest(bright: float) -> list[float]:
        return [bright if 12 <= slot < 36 else 0.0 for slot in range(DAY_SLOTS)]

    def afternoon_and_tomorrow(today: float) -> tuple[float, float]:
        past = History()
        for slot, sun_a in enumerate([*harvest(3.0), *harvest(3.0), *harvest(3.0), *harvest(today)[:28]]):
            past = history.add(past, slot, 2.0, sun_a, 20.0)
        found, count = outlook_days.days_from(past, past.next_slot, 20.0, 100.0)
        assert count == 3
        from_two_days_ago = found.harvests[1][1]
        return from_two_days_ago[0], from_two_days_ago[40]

    assert afternoon_and_tomorrow(3.0) == (pytest.approx(3.0), pytest.approx(3.0))
    dull, bright = afternoon_and_tomorrow(1.0), afternoon_and_tomorrow(6.0)
    assert 1.0 < dull[0] < 2.2
    assert 3.8 < bright[0] < 6.0
    assert dull[1] == bright[1] == pytest.approx(3.0)
