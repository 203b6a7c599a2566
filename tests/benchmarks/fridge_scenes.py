"""Weeks of a fridge whose seal lets go by little or by much, in weather that turns or does not: what is said of its work, and when."""
from collections.abc import Iterator
from itertools import product


def boxes() -> Iterator[tuple[str, str]]:
    """Days on which the message stands, for a box with a thermostat by no formula of the tracker."""
    from tests.monitor.test_fridge_effort import days_told, swinging

    def after(first: float, leak: float):
        return lambda day: leak if day >= first else 1.0

    for k in range(12):
        yield "boxes", f"leaks {1.3 + 0.05 * k:.2f} times: {days_told(40, swinging(lambda day: 20.0), after(20, 1.3 + 0.05 * k))}"
        yield "boxes", f"leaks from day {4 + k} on: {days_told(30, swinging(lambda day: 20.0), after(4 + k, 1.7))}"
        told = days_told(70, swinging(lambda day: 20.0), lambda day, k=k: 1.0 + (0.008 + 0.003 * k) * max(day - 15, 0))
        yield "boxes", f"leaks {0.8 + 0.3 * k:.1f} % more each day: {told}"
        yield "boxes", f"good box: {days_told(30, swinging(lambda day: 10.0), after(18, 1.5 + 0.1 * k), box_h=14.0, pull_k_h=20.0)}"
    for slope, leak in product((-0.3, 0.2, 0.4, 0.6), (1.4, 1.55, 1.7, 1.9)):
        told = days_told(36, swinging(lambda day, slope=slope: 16.0 + slope * max(day - 12, 0)), after(26, leak))
        yield "boxes", f"turns by {slope} K a day, leaks {leak} times: {told}"
    for jump_k, leak in product((6.0, 10.0, 14.0), (1.4, 1.55, 1.7, 1.9)):
        told = days_told(36, swinging(lambda day, jump_k=jump_k: 12.0 + jump_k * (day > 20)), after(24, leak))
        yield "boxes", f"to the sea by {jump_k} K, leaks {leak} times: {told}"
    for box_h, first in product((20.0, 40.0, 60.0), (8, 9, 10, 11, 12)):
        told = days_told(30, swinging(lambda day: 14.0), after(first, 2.2), box_h=box_h, pull_k_h=6.0)
        yield "boxes", f"few runs ({box_h} h), leaks from day {first} on: {told}"


SCENES = {"boxes": boxes}
