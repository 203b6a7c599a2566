"""Does the message on a fridge that works harder follow the fridge and not the summer?

The fridge here is a box that heat leaks into (its inside falls back to the air's warmth in some
hours) and a compressor that moves less heat the warmer the air is, behind a thermostat: its duty
comes out of that, by no formula of the tracker.
"""
from collections.abc import Callable
from math import cos, pi
from random import Random

import pytest

from monitor.usage import fridge, fridge_effort
from monitor.usage.current_steps import CurrentStep
from monitor.usage.fridge import Fridge
from monitor.usage.fridge_effort import Effort

STEP_S = 60
SIZE_A = 4.0
#: Midday of the first day: the days begin at midnight.
NOON_S = 43200.0


def swinging(mean_c: Callable[[float], float]) -> Callable[[float], float]:
    """The air over the days: the mean of the season and six kelvin of swing, warmest at three."""
    return lambda day: mean_c(day) + 6.0 * cos((day % 1 * 24 - 15) / 12 * pi)


def days_told(
    days: int, air_c: Callable[[float], float], leak: Callable[[float], float] = lambda day: 1.0,
    thermometer: bool = True, seed: int = 1, box_h: float = 6.0, pull_k_h: float = 12.0, hidden: bool = False,
) -> list[int]:
    """The days on whose evening the message stands. leak: heat leaking in against a sound seal."""
    chance, inside_c, on = Random(seed), 4.0, False
    cold, effort, told = Fridge(), Effort(), []
    for k in range(days * 86400 // STEP_S):
        at_s, day = k * STEP_S * 1.0, k * STEP_S / 86400
        warm_c = air_c(day)
        inside_c += (warm_c - inside_c) * leak(day) / box_h * STEP_S / 3600
        if 0.3 < day % 1 < 0.9 and chance.random() < 0.012:
            inside_c += chance.uniform(0.2, 0.8)
        if on:
            inside_c -= pull_k_h * (1 - 0.012 * (warm_c - 25)) * STEP_S / 3600
        was, on = on, inside_c > 2.8 if on else inside_c > 5.2
        seen_c = warm_c if thermometer else None
        if hidden and 0.45 < day % 1 < 0.7:     # a charger that holds the voltage
            cold = fridge.hide_runs(cold, at_s, NOON_S, seen_c)
        elif on != was:
            by_a = SIZE_A * chance.uniform(0.97, 1.03)
            cold = fridge.update_on_step(cold, (CurrentStep(at_s, -by_a if on else by_a),), NOON_S, seen_c)
        if (k + 1) * STEP_S % 86400 == 0:
            effort = fridge_effort.day(effort, cold)
            if any(condition.active for condition in fridge_effort.conditions(effort)):
                told.append(int(day))
    return told


def test_spring_turning_into_summer_is_no_harder_work() -> None:
    assert days_told(70, swinging(lambda day: 11.0 + 0.28 * day)) == []


def test_summer_turning_into_winter_is_no_harder_work() -> None:
    assert days_told(70, swinging(lambda day: 26.0 - 0.3 * day)) == []


@pytest.mark.parametrize("hidden", [False, True])
def test_a_week_of_heat_is_no_harder_work(hidden: bool) -> None:
    assert days_told(45, swinging(lambda day: 30.0 if 20 <= day < 28 else 20.0), hidden=hidden) == []


def test_moving_from_the_mountains_to_the_sea_is_no_harder_work() -> None:
    assert days_told(45, swinging(lambda day: 9.0 if day < 20 else 26.0)) == []


@pytest.mark.parametrize("mean_c", [14.0, 20.0, 27.0])
def test_a_seal_that_lets_go_is_told_within_ten_days(mean_c: float) -> None:
    told = days_told(50, swinging(lambda day: mean_c), lambda day: 1.7 if day >= 25 else 1.0)
    assert told
    assert 27 <= told[0] <= 35


def test_a_seal_that_goes_while_summer_comes_is_told_too() -> None:
    told = days_told(60, swinging(lambda day: 14.0 + 0.15 * day), lambda day: 1.7 if day >= 30 else 1.0)
    assert told
    assert 32 <= told[0] <= 42


def test_slow_ageing_over_a_month_is_told_before_the_fridge_runs_twice_as_long() -> None:
    told = days_told(60, swinging(lambda day: 20.0), lambda day: 1.0 + 0.025 * max(day - 20, 0))
    assert told
    assert 25 <= told[0] <= 55


def test_the_message_goes_when_the_seal_is_mended() -> None:
    told = days_told(60, swinging(lambda day: 20.0), lambda day: 1.7 if 25 <= day < 38 else 1.0)
    assert told
    assert told[-1] <= 46


def test_without_a_thermometer_nothing_is_said_of_heat_or_seal() -> None:
    assert days_told(45, swinging(lambda day: 32.0 if 20 <= day < 30 else 18.0), thermometer=False) == []


@pytest.mark.parametrize("seed", [2, 3, 4, 5])
def test_sound_fridges_of_other_sizes_stay_unsaid_through_warm_and_cold_weeks(seed: int) -> None:
    chance = Random(seed)
    weeks = [chance.gauss(18.0, 4.5) for _ in range(12)]
    air_c = swinging(lambda day: weeks[int(day // 7)] * (1 - day / 7 % 1) + weeks[int(day // 7) + 1] * (day / 7 % 1))
    assert days_told(70, air_c, seed=seed, box_h=chance.uniform(5, 9), pull_k_h=chance.uniform(8, 16)) == []
