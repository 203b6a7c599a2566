"""Saving and restoring states exactly."""
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.findings import Estimate, NotYet
from monitor.store.saving import FORMER_NAMES, from_text, to_text
from monitor.wear.swings import SwingsState


@dataclass(frozen=True, slots=True)
class Inner:
    charge_ah: float
    answer: Estimate | NotYet


@dataclass(frozen=True, slots=True)
class Held:
    inner: tuple[Inner, ...]
    pair: tuple[float, int]
    since_s: float | None = None
    name: str = ""


@given(st.floats(allow_nan=False, allow_infinity=False), st.integers(), st.text())
def test_a_state_comes_back_bit_for_bit(number: float, count: int, name: str) -> None:
    held = Held((Inner(number, Estimate(number, 0.1, 0.2, "rested")), Inner(1.0, NotYet(name))),
                (number, count), number, name)
    assert from_text(Held, to_text(held)) == held


@pytest.mark.parametrize("damage", [
    "", "{}", "[1, 2]", "null", '{"_":"Other"}',
    '{"_":"Held","inner":[],"pair":[1.0],"since_s":null,"name":""}',
    '{"_":"Held","inner":[],"pair":[1.0,2],"since_s":null,"name":"","more":1}',
])
def test_a_damaged_or_foreign_state_is_refused(damage: str) -> None:
    with pytest.raises(ValueError):
        from_text(Held, damage)


def test_not_a_number_is_never_saved() -> None:
    with pytest.raises(ValueError):
        to_text(Held((), (float("nan"), 1)))


def test_a_state_saved_under_a_former_name_is_read() -> None:
    """Every class that was renamed since earlier logs were written."""
    swings = SwingsState()
    former = to_text(swings).replace('"_":"SwingsState"', '"_":"Held"')
    assert former != to_text(swings)
    assert from_text(SwingsState, former) == swings


def test_a_former_name_is_never_that_of_another_saved_class_in_the_same_union() -> None:
    assert not set(FORMER_NAMES) & set(FORMER_NAMES.values())
