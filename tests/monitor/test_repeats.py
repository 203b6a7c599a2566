"""Readings of the flats that say again what was said before."""

import pytest

from monitor.estimation.observations import repeats
from monitor.estimation.observations.repeats import FORGET_H, STEP_FRAC, Repeats

RATED_AH = 100.0


def read(before: Repeats, net_ah: float, times: int = 1, hours: float = 0.75) -> tuple[Repeats, list[float]]:
    """Some readings one after the other, each after as much charge; and what of each was news."""
    found = []
    for _ in range(times):
        before = repeats.follow(before, net_ah, hours)
        found.append(repeats.news(before, RATED_AH))
        before = repeats.note(before, RATED_AH)
    return before, found


def test_standing_still_tells_no_more_than_the_logarithm_of_how_often_it_was_read() -> None:
    """1 + 1/3 + 1/5 ... of n terms is (ln n + 0.577) / 2 + ln 2 for large n (Euler's constant)."""
    _, news = read(Repeats(), 0.0, 100, hours=0.0)
    assert news[0] == 1.0 and news[1] == pytest.approx(1.0 / 3.0)
    assert sum(news) == pytest.approx(3.284, abs=0.001)


def test_on_the_way_down_each_step_of_charge_is_news_but_for_the_one_before() -> None:
    _, news = read(Repeats(), -STEP_FRAC * RATED_AH, 20)
    assert news[0] == 1.0 and all(0.5 - 1e-9 < n < 0.52 for n in news[1:])


def test_coming_by_again_says_less_and_after_weeks_it_is_news_once_more() -> None:
    step_ah = STEP_FRAC * RATED_AH
    down, first = read(Repeats(), -step_ah, 10)
    up, second = read(down, step_ah, 9)
    assert max(second) < 0.34 < 0.5 <= min(first)
    later = repeats.follow(up, 0.0, 4.0 * FORGET_H)
    assert repeats.news(later, RATED_AH) > 0.9


def test_the_first_end_tells_where_all_before_was_read_and_later_ones_only_where_it_stands() -> None:
    """Counted 20 Ah down, found full there: what was read at the start was read 20 Ah above full."""
    before, _ = read(Repeats(), 0.0, 3, hours=0.0)
    at_full = repeats.tie(repeats.follow(before, -20.0, 0.0), 0.0, RATED_AH)
    assert at_full.tied and repeats.news(at_full, RATED_AH) == 1.0
    assert repeats.news(repeats.follow(at_full, 20.0, 0.0), RATED_AH) == pytest.approx(1.0 / 7.0, abs=0.01)
    again = repeats.tie(repeats.follow(at_full, 2.0, 0.0), 0.0, RATED_AH)
    assert again.place_ah == 0.0 and again.counts == at_full.counts


def test_what_weeks_have_all_but_forgotten_is_no_longer_kept() -> None:
    """A twentieth of a reading is the least that is: 0.06 of one is kept, 0.045 is not."""
    kept = repeats.follow(Repeats(counts=((3, 0.06), (4, 0.045), (5, 1.0))), 0.0, 0.0)
    assert kept.counts == ((3, 0.06), (5, 1.0))
