"""Resistance over the weeks: depth, warmth and diffusion taken off, growth found, an even life left even."""
from math import exp, log
from random import Random

import pytest

from monitor.battery.label import Battery
from monitor.findings import Estimate, NotYet
from monitor.usage import load_off
from monitor.usage.load_off import LoadOffState, LoadStep
from monitor.wear import resistance_trend, resistance_weeks
from monitor.wear.resistance_weeks import Effects, Sums, WeekLevel

HOUSE = Battery("house", "agm", 100)
NONE = Effects(0.0, 0.0, 0.0, 0.0, 0.0)


def _steps(bins: list[tuple[float, float, float]]) -> list[LoadStep]:
    held, found = LoadOffState(), []
    for at_s, voltage, current in bins:
        held, step = load_off.add(held, at_s, voltage, current, 100.0)
        found += [step] if step else []
    return found


@pytest.mark.parametrize("share", [1.0, 0.6, 0.35])
def test_a_load_that_goes_off_within_a_bin_shows_what_answers_at_once_and_what_follows(share: float) -> None:
    """8 mohm at once and 0.2 mohm per root of a second: of 5 A, sampled as means over 60 s."""
    ohmic, slope, change = 0.008, 0.0002, 5.0
    first_root, later_root = (share * 30) ** 0.5, (share * 60 + 30) ** 0.5
    bins = [(0, 12.5, -5.2), (60, 12.5, -5.2), (120, 12.5 + (ohmic + slope * first_root) * change * share, -5.2 + change * share),
            (180, 12.5 + (ohmic + slope * later_root) * change, -0.2)]
    (step,) = _steps(bins)
    assert step.slope_ohm == pytest.approx(slope, rel=0.02)
    assert step.ohm - step.slope_ohm * step.root_age == pytest.approx(ohmic, rel=0.02)


def test_what_is_no_load_going_off_is_no_step() -> None:
    assert _steps([(0, 12.5, -0.2), (60, 12.4, -5.0), (120, 12.4, -5.0)]) == [], "a load came on"
    assert _steps([(0, 12.5, -5.0), (60, 13.6, 8.0), (120, 13.6, 8.0)]) == [], "charging began"
    assert _steps([(0, 12.5, -5.0), (400, 12.6, -0.2), (460, 12.6, -0.2)]) == [], "a gap lies between"
    assert _steps([(0, 12.5, -5.0), (60, 12.54, -0.2), (120, 12.5, -5.0)]) == [], "it came back at once"


def _weeks(chance: Random, growth: float, depth: float, warmth_per_k: float, count: int = 26) -> tuple[tuple[WeekLevel, ...], Effects]:
    """Half a year in which use gets deeper and the weather warmer."""
    learnt, kept = Sums(), []
    for k in range(count):
        sums = Sums()
        for _ in range(60):
            charge, warm = chance.uniform(0.95 - 0.5 * k / count, 1.0), chance.gauss(-12 + 15 * k / count, 4)
            shift_ln = depth * resistance_weeks.shape(charge) + warmth_per_k * warm + chance.gauss(0, 0.08)
            ohm = 0.006 * growth ** (k / (count - 1)) * exp(shift_ln)
            sums = resistance_weeks.add(sums, LoadStep(ohm, 4.0, 4.0, None), 1.0, charge, warm, NONE)
        learnt = resistance_weeks.pool_effects(learnt, resistance_weeks.within_week(sums))
        kept.append(sums)
    found = resistance_weeks.effects(learnt, HOUSE)
    return tuple(resistance_weeks.level(sums, k * 604800.0, found) for k, sums in enumerate(kept)), found


@pytest.mark.parametrize("growth", [1.0, 1.3, 1.8, 2.4, 3.0])
def test_growth_is_found_whatever_depth_and_warmth_do_meanwhile(growth: float) -> None:
    """Within 8 %; batteries from flat to steep with depth and from 0.8 to 1.6 % a kelvin."""
    for seed in range(6):
        chance = Random(seed)
        levels, found = _weeks(chance, growth, chance.uniform(0.1, 1.2), -chance.uniform(0.008, 0.016))
        seen = resistance_trend.growth(levels, found)
        assert isinstance(seen, Estimate) and seen.value == pytest.approx(growth, rel=0.08), seed
        assert seen.low < growth < seen.high


def test_the_effects_of_depth_and_warmth_are_learnt_and_begin_at_common_practice() -> None:
    nothing = resistance_weeks.effects(Sums(), HOUSE)
    assert nothing.warmth_per_k == pytest.approx(-0.012) and nothing.depth == pytest.approx(0.7)
    _, found = _weeks(Random(1), 1.5, 0.2, -0.009)
    assert found.depth == pytest.approx(0.2, abs=0.08) and found.warmth_per_k == pytest.approx(-0.009, abs=0.002)


def test_an_even_life_repeats_within_three_per_cent() -> None:
    seen = [resistance_trend.growth(*_weeks(Random(seed), 1.0, 0.5, -0.012)) for seed in range(20)]
    spread = (sum(log(s.value) ** 2 for s in seen) / len(seen)) ** 0.5
    assert spread < 0.03


def test_six_weeks_say_nothing_and_cold_ones_do_not_count() -> None:
    levels, found = _weeks(Random(2), 2.0, 0.5, -0.012, count=6)
    assert isinstance(resistance_trend.growth(levels, found), NotYet)
    cold = tuple(WeekLevel(k * 604800.0, log(0.008), 0.1, -25.0, 0.02) for k in range(12))
    assert "0 so far" in resistance_trend.growth(cold, found).because


def test_diffusion_that_does_not_age_is_taken_off() -> None:
    """6 to 12 mohm at once beside a steady 3 mohm that comes late: 1.67 times as a whole, twice where it counts."""
    levels = tuple(WeekLevel(k * 604800.0, log(0.003 + 0.006 * (1 + k / 11)), 0.0, 0.0, 0.01, 0.003) for k in range(12))
    assert resistance_trend.growth(levels, NONE).value == pytest.approx(2.0, rel=0.03)
