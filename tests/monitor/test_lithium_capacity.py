"""What graphite's step and the way from end to end tell of a lithium battery's capacity.

The way down from full is that of measured makes, not of the curve that the estimator holds; what a worn one has lost is
taken off above the step, where retired cells have lost it (Tao et al. 2024).
"""
from dataclasses import replace
from math import exp, log

import pytest

from monitor.battery import rest_curves
from monitor.estimation.families import KINDS, Kind
from monitor.estimation.observations import end_to_end, graphite_step
from monitor.estimation.observations.end_to_end import EndToEnd
from monitor.estimation.observations.graphite_step import Descent, Fall
from monitor.estimation.surroundings import look

MAKES = [name for name in rest_curves.makes() if name not in (rest_curves.PUBLISHED, "lfp-cell-b")]   # that one ends at 90 %
RATED_AH = 100.0
SOUND, WORN, MUCH_WORN = KINDS[:3]


def way_down(name: str, capacity_ah: float, to_frac: float, lost_above: float = 0.7, step_ah: float = 2.0) -> Descent:
    """The descent of a make that held 100 Ah when new, down to a charge of its present capacity."""
    points, lost = rest_curves.makes()[name], RATED_AH - capacity_ah
    now = look(13.2, -3.0, -0.03, 25.0)
    descent, drawn = graphite_step.begin_anew(Descent()), 0.0
    while drawn < (1.0 - to_frac) * capacity_ah:
        drawn += step_ah
        # where the electrodes of the new battery stood: part of what is lost is missing above, the rest below
        place = (RATED_AH - lost_above * lost - drawn + 0.5 * step_ah) / RATED_AH
        volts = rest_curves.line(points, place)
        descent = graphite_step.follow(descent, step_ah, 0.0, volts, now, RATED_AH)
    return descent


def learnt(fall: Fall, kind: Kind, believed_ah: float, sigma_ln: float) -> tuple[float, float, float]:
    """Capacity [Ah] and one sigma (ln) of a battery of a kind after its fall was seen, and how likely that was (log)."""
    likely, miss_ah, slope, variance = fall.log_seen(kind, log(believed_ah), sigma_ln**2)
    gain = slope * sigma_ln**2 / variance
    return believed_ah * exp(gain * miss_ah), sigma_ln * (1.0 - gain * slope) ** 0.5, likely


@pytest.mark.parametrize("name", MAKES)
def test_the_step_of_a_sound_battery_tells_its_capacity(name: str) -> None:
    found = graphite_step.find_fall(way_down(name, 100.0, 0.45), RATED_AH)
    assert found is not None
    capacity_ah, sigma_ln, likely = learnt(found, SOUND, 94.0, SOUND.capacity_sigma_ln)
    assert abs(log(capacity_ah / 100.0)) < 2.5 * sigma_ln < 0.25
    worn = learnt(found, MUCH_WORN, 68.0, MUCH_WORN.capacity_sigma_ln)[2]
    assert likely + log(SOUND.share) > worn + log(MUCH_WORN.share)


@pytest.mark.parametrize("name", MAKES)
def test_a_worn_battery_meets_it_early(name: str) -> None:
    worn = way_down(name, 80.0, 0.4)
    found = graphite_step.find_fall(worn, RATED_AH)
    if found is None:       # where the step stands near full no upper flat is left to read
        pytest.skip("no upper flat")
    capacity_ah, sigma_ln, _ = learnt(found, WORN, 84.0, WORN.capacity_sigma_ln)
    assert abs(log(capacity_ah / 80.0)) < 2.5 * sigma_ln < 0.25


def test_where_the_label_may_be_wrong_the_step_tells_the_size_by_itself() -> None:
    """A sound battery of 70 Ah labelled 100 Ah meets it at 21 Ah; were the label right, that would be wear."""
    fall = Fall(21.0, 1.0, RATED_AH)
    trusted, unsure = replace(SOUND, label_sigma_ln=0.03), replace(SOUND, label_sigma_ln=0.3)
    by_itself, by_label = (learnt(fall, kind, 97.0, kind.capacity_sigma_ln)[0] for kind in (unsure, trusted))
    assert by_itself < 85.0 and by_label > by_itself + 5.0


def test_as_long_as_it_is_not_met_the_battery_is_at_least_so_large() -> None:
    early = graphite_step.find_absence(way_down("lfp-cell-d", 100.0, 0.80), RATED_AH)
    assert early is not None
    assert early.log_not_yet(SOUND, log(100.0), 0.1**2) > early.log_not_yet(WORN, log(65.0), 0.1**2) + 0.3
    assert graphite_step.find_absence(way_down("lfp-cell-d", 100.0, 0.55), RATED_AH) is None     # it has fallen


def test_it_is_read_neither_in_the_cold_nor_at_a_high_rate_nor_while_charging() -> None:
    begun = graphite_step.begin_anew(Descent())
    for now in (look(13.3, -3.0, -0.03, -10.0), look(13.3, -60.0, -0.6, 25.0), look(13.3, 5.0, 0.05, 25.0)):
        after = graphite_step.follow(begun, 2.0, 0.0, 13.3, now, RATED_AH)
        assert after.depth_ah == 2.0 and not after.points
    assert graphite_step.follow(Descent(), 2.0, 0.0, 13.3, look(13.3, -3.0, -0.03, 25.0), RATED_AH) == Descent()


def test_what_was_counted_from_end_to_end_is_the_capacity() -> None:
    swing = end_to_end.at_end(EndToEnd(), "full", 0.995, 0.01**2)
    for _ in range(30):
        swing = end_to_end.follow(swing, 2.6, 0.0, 1.0)
    assert end_to_end.is_whole(swing, "empty", 0.02, 0.015**2, RATED_AH)
    value_ln, sigma_ln = end_to_end.capacity(swing, 0.02, 0.015**2, 0.02)
    assert exp(value_ln) == pytest.approx(80.0) and 0.018 < sigma_ln < 0.025
    # the same end again, an unsure end, or too little between them tell nothing
    assert not end_to_end.is_whole(swing, "full", 0.02, 0.015**2, RATED_AH)
    assert not end_to_end.is_whole(swing, "empty", 0.02, 0.05**2, RATED_AH)
    assert not end_to_end.is_whole(swing, "empty", 0.5, 0.015**2, RATED_AH)
