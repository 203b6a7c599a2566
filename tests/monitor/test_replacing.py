"""The quicker replace gives what the library's gives, and refuses what it refuses."""
import dataclasses

import pytest

from monitor.estimation.charge_count import Count
from monitor.estimation.charge_suspicion import Suspicion
from monitor.replacing import replace


@dataclasses.dataclass(frozen=True, slots=True)
class One:
    name: str


@dataclasses.dataclass(frozen=True)
class Loose:
    a: int
    b: int = 2


@dataclasses.dataclass(frozen=True, slots=True)
class Judged:
    share: float

    def __post_init__(self) -> None:
        if self.share > 1:
            raise ValueError("more than all")


def test_it_gives_what_the_library_gives() -> None:
    for before, changes in ((Count(), {"hours": 2.0, "out_ah": 3.0}), (Suspicion(), {}), (One("a"), {"name": "b"}), (Loose(1), {"b": 5})):
        after = replace(before, **changes)
        assert after == dataclasses.replace(before, **changes) and hash(after) == hash(dataclasses.replace(before, **changes))
        assert type(after) is type(before)


def test_the_object_before_stays_as_it_was() -> None:
    before = Count()
    replace(before, hours=9.0)
    assert before == Count()


def test_a_field_it_has_not_is_refused() -> None:
    with pytest.raises(TypeError, match="no field 'days'"):
        replace(Count(), days=1)  # type: ignore[call-arg]


def test_what_a_class_checks_when_made_is_checked_again() -> None:
    with pytest.raises(ValueError, match="more than all"):
        replace(Judged(0.5), share=1.5)
