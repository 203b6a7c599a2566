"""What of a lithium descent is read, and how far: the step of graphite, and the way from one end to the other, by readings written down."""
from dataclasses import replace

import pytest

from monitor.estimation.observations import end_to_end, graphite_step
from monitor.estimation.observations.graphite_step import Descent
from monitor.estimation.surroundings import Surroundings

RATED_AH = 100.0


def _surroundings(current_a: float = -5.0, temperature_c: float = 20.0) -> Surroundings:
    return Surroundings(voltage_v=13.2, current_a=current_a, temperature_c=temperature_c, shift_frac=0.0, kinetic_v=0.0,
                        diffusion_factor=0.0, kinetic_factor=0.0, coldness=1.0)


def _descended(fall_ah: float) -> Descent:
    """A voltage level at 13.30 V to 25 Ah drawn, then falling evenly by 0.16 V over so many Ah, then level, read each ampere-hour."""
    volts = (13.30 - 0.16 * min(max((depth - 25) / fall_ah, 0.0), 1.0) for depth in range(140))
    return Descent(True, 139.0, 0.0, tuple((float(depth), v, 0.0) for depth, v in enumerate(volts)))


def test_a_steep_fall_is_found_at_its_middle() -> None:
    found = graphite_step.find_fall(_descended(10.0), RATED_AH)
    assert found is not None and found.depth_ah == pytest.approx(30.0, abs=0.5)


@pytest.mark.parametrize(("fall_ah", "may_be"), [(60.0, True), (90.0, True), (110.0, False), (140.0, False)])
def test_a_slope_that_goes_on_and_on_is_the_lower_flat_of_a_battery_without_an_upper_one(fall_ah: float, may_be: bool) -> None:
    """From the first bend the voltage is level again, as a flat is; half of what it fell by then may take 15 % of the rating."""
    assert (graphite_step.find_fall(_descended(fall_ah), RATED_AH) is not None) is may_be


@pytest.mark.parametrize(("now", "read"), [
    (_surroundings(-5.0), True), (_surroundings(0.45), True), (_surroundings(0.55), False),
    (_surroundings(temperature_c=0.5), True), (_surroundings(temperature_c=-0.5), False)])
def test_no_reading_counts_while_it_is_charged_or_in_frost(now: Surroundings, read: bool) -> None:
    descent = graphite_step.follow(Descent(True), 1.0, 0.0, 13.3, now, RATED_AH)
    assert bool(descent.points) is read and descent.depth_ah == 1.0


def test_sixty_readings_of_a_descent_are_kept() -> None:
    descent = Descent(True)
    for _ in range(90):
        descent = graphite_step.follow(descent, 1.0, 0.0, 13.3, _surroundings(), RATED_AH)
    assert len(descent.points) == 60 and descent.depth_ah == 90.0


@pytest.mark.parametrize(("from_frac", "to_frac", "drawn_ah", "whole"), [
    (1.0, 0.35, 65.0, True), (1.0, 0.45, 55.0, False),      # six tenths of the charge lie between them
    (1.0, 0.0, 27.0, True), (1.0, 0.0, 23.0, False)])       # a quarter of the rating went through it
def test_from_one_end_to_the_other_enough_lies_between_them(from_frac: float, to_frac: float, drawn_ah: float, whole: bool) -> None:
    swing = replace(end_to_end.at_end(end_to_end.EndToEnd(), "full", from_frac, 0.0001), drawn_ah=drawn_ah, hours=10.0)
    assert end_to_end.is_whole(swing, "empty", to_frac, 0.0001, RATED_AH) is whole
