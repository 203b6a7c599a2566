"""The quicker dataclass and replace give what the library's give, and refuse what they refuse."""
import dataclasses
import importlib.util
import inspect
import os
import pickle
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from monitor import replacing
from monitor.estimation.charge_count import Count
from monitor.estimation.charge_suspicion import Suspicion
from monitor.replacing import dataclass, replace

ROOT = Path(__file__).parent.parent.parent


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


@pytest.fixture
def guarded(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The module as it is where the guard is asked for."""
    monkeypatch.setenv("AMPLEDGER_GUARDED", "1")
    spec = importlib.util.spec_from_file_location("guarded_replacing", replacing.__file__ or "")
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_where_the_guard_is_asked_for_a_made_object_stays_as_it_is(guarded: ModuleType) -> None:
    @guarded.dataclass(frozen=True, slots=True)
    class Guarded:
        at_s: float
        Kind: int = 3

    one = Guarded(1.0)
    with pytest.raises(dataclasses.FrozenInstanceError):
        one.at_s = 2.0
    with pytest.raises(dataclasses.FrozenInstanceError):
        guarded.replace(one, Kind=2).Kind = 5
    assert guarded.replace(one, at_s=4.0) == Guarded(4.0) and one == Guarded(1.0)
    with pytest.raises(TypeError, match="unexpected keyword argument 'days'"):
        guarded.replace(one, days=1)
    assert str(inspect.signature(Quick)) == str(inspect.signature(Usual))


LIFE = """
from hashlib import sha256
from monitor import pipeline
from monitor.sampling.gather import minutes
from monitor.store import saving
from tests.benchmarks.ensemble import journey, owner, vehicles

told = sha256()
for case in ("lead healthy", "lithium"):
    plan = next(vehicles(case, 1, seed=8, days=1.0))
    vehicle = owner(plan)
    states = pipeline.begin(vehicle)
    for minute in minutes(sample for sample, _ in journey(plan)):
        states, found = pipeline.step(states, minute, vehicle)
        told.update(repr(found).encode())
    told.update(saving.to_text(states).encode())
print(told.hexdigest())
"""


@pytest.mark.slow
def test_no_tracker_assigns_to_what_is_made_and_none_needs_to() -> None:
    """A day of each chemistry, with the guard and without: nobody is refused, and both come to the same bit for bit."""
    without = {name: value for name, value in os.environ.items() if name != "AMPLEDGER_GUARDED"} | {"PYTHONPATH": str(ROOT)}
    told = [subprocess.run([sys.executable, "-c", LIFE], env=without | more, cwd=ROOT, capture_output=True, text=True, check=True).stdout
            for more in ({}, {"AMPLEDGER_GUARDED": "1"})]
    assert told[0] == told[1] and len(told[0].strip()) == 64


def test_a_constructor_with_more_to_do_stays_the_librarys() -> None:
    one, other = Listed(), Listed()
    one.values.append(1.0)
    assert other.values == [] and replace(one, values=[2.0]) == Listed([2.0])
