"""The quicker dataclass and replace give what the library's give, and refuse what they refuse."""
import dataclasses
import inspect
import pickle

import pytest

from monitor.estimation.charge_count import Count
from monitor.estimation.charge_suspicion import Suspicion
from monitor.replacing import dataclass, replace


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
    with pytest.raises(TypeError, match="unexpected keyword argument 'days'"):
        replace(Count(), days=1)  # type: ignore[call-arg]


def test_what_a_class_checks_when_made_is_checked_again() -> None:
    with pytest.raises(ValueError, match="more than all"):
        replace(Judged(0.5), share=1.5)


@dataclass(frozen=True, slots=True)
class Quick:
    at_s: float
    words: tuple[str, ...] = ()
    Kind: int = 3


@dataclasses.dataclass(frozen=True, slots=True)
class Usual:
    at_s: float
    words: tuple[str, ...] = ()
    Kind: int = 3


@dataclass(frozen=True, slots=True)
class Listed:
    """Its constructor has more to do: it makes a list of its own for each."""

    values: list[float] = dataclasses.field(default_factory=list)


@pytest.mark.parametrize(("values", "named"), [((1.0,), {}), ((1.0, ("a",)), {"Kind": 4}), ((), {"at_s": 2.0}), ((1.0, ("a",), 5), {})])
def test_a_new_object_is_as_the_library_makes_it(values: tuple, named: dict) -> None:
    quick, usual = Quick(*values, **named), Usual(*values, **named)
    assert dataclasses.astuple(quick) == dataclasses.astuple(usual) and hash(quick) == hash(usual)
    assert type(quick) is Quick and quick == Quick(*values, **named) != replace(quick, at_s=9.0)
    assert repr(quick) == repr(usual).replace("Usual", "Quick") and pickle.loads(pickle.dumps(quick)) == quick


@pytest.mark.parametrize(("values", "named"), [((), {}), ((1.0, (), 3, 4), {}), ((1.0,), {"days": 1}), ((1.0,), {"at_s": 1.0})])
def test_what_the_library_refuses_is_refused(values: tuple, named: dict) -> None:
    for kind in (Quick, Usual):
        with pytest.raises(TypeError, match="argument"):
            kind(*values, **named)


def test_a_made_object_stays_as_it_is() -> None:
    one = Quick(1.0)
    with pytest.raises(dataclasses.FrozenInstanceError):
        one.at_s = 2.0  # type: ignore[misc]
    with pytest.raises(dataclasses.FrozenInstanceError):
        replace(one, Kind=2).Kind = 5  # type: ignore[misc]
    assert str(inspect.signature(Quick)) == str(inspect.signature(Usual))


def test_a_constructor_with_more_to_do_stays_the_librarys() -> None:
    one, other = Listed(), Listed()
    one.values.append(1.0)
    assert other.values == [] and replace(one, values=[2.0]) == Listed([2.0])
