"""Tracker states to text and back, exactly: floats keep every bit, unknown fields are refused."""
import json
import types
from collections.abc import Callable
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

Saved = TypeVar("Saved")
Builder = Callable[[Any], Any]

#: Class -> what it was called when earlier logs were written; a state saved under that name is read as before.
FORMER_NAMES = {
    "AlertsState": "Held", "AlternatorControl": "Throttle", "BatteryHistory": "Lives", "BatteryService": "Life", "BestDrain": "Best",
    "ChargeState": "Held", "CountsFindings": "Findings", "CountsState": "Held", "CrankState": "Held", "CurrentLevel": "Level",
    "CurrentStep": "Step", "DelayedCondition": "Pending", "EndToEnd": "Swing", "EngineState": "Run", "EvidenceLine": "Line",
    "ForecastState": "Held", "HealthState": "Held", "HouseAlertsState": "Held", "IsolatorEvidence": "Contact", "JoinRecord": "Record",
    "JoinState": "Held", "JoinVoltage": "Gap", "LatestVoltage": "Now", "LevelAlert": "Level", "LoadOffState": "Watched",
    "LoadSlot": "Slot", "LoadStep": "Step", "LoadsFindings": "Findings", "LoadsState": "Held", "NightOutcome": "Night",
    "OpenSwing": "Open", "OpenWeek": "Filling", "PathResistance": "Path", "PlausibilityState": "Held", "RunKind": "Kind",
    "StarterState": "Held", "SwingsState": "Held", "TemperatureSwings": "Swings", "TemperatureTrend": "Trend", "TenMinutes": "Block",
    "TrackerStates": "Watch", "VoltageLevel": "Level", "VoltageWindow": "Window", "WeekLevel": "Level", "WindowPast": "Past",
}


def to_text(state: Any) -> str:
    """One line of JSON for a frozen dataclass of numbers, strings, tuples and further dataclasses."""
    return json.dumps(_plain(state), separators=(",", ":"), allow_nan=False)


def from_text(kind: type[Saved], text: str) -> Saved:
    """The state that to_text wrote.

    Raises
    ------
    ValueError : the text is not of this kind (another version, or damaged)
    """
    try:
        wanted: Any = kind
        state: Saved = _builder(wanted)(json.loads(text))
        return state
    except (TypeError, KeyError, AttributeError, IndexError, OverflowError, RecursionError, json.JSONDecodeError) as error:
        raise ValueError(f"saved {kind.__name__} cannot be read: {error}") from error


def _plain(value: Any) -> Any:
    if hasattr(value, "to_plain"):   # it knows a shorter form of itself
        return {"_": type(value).__name__} | value.to_plain()
    if is_dataclass(value):
        return {"_": type(value).__name__} | {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    return value


def _names(kind: type) -> tuple[str, ...]:
    """What a saved dataclass of this kind may be called: its name now, and before."""
    former = FORMER_NAMES.get(kind.__name__)
    return (kind.__name__,) if former is None else (kind.__name__, former)


def _as_it_is(plain: Any) -> Any:
    return plain


def _as_float(plain: Any) -> Any:
    return float(plain) if isinstance(plain, int) else plain


@cache
def _builder(kind: Any) -> Builder:
    """What makes a value of a kind out of plain JSON: the type is looked at once, not for each value."""
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        return _choice_builder(kind)
    if origin is tuple:
        return _tuple_builder(get_args(kind))
    if origin is dict:
        key, item = get_args(kind)
        build = _builder(item)
        return lambda plain: {(int(k) if key is int else k): build(v) for k, v in plain.items()}
    if origin is Literal or kind is Any:
        return _as_it_is
    if isinstance(kind, type) and is_dataclass(kind):
        return _checked_builder(kind) if hasattr(kind, "from_plain") else _dataclass_builder(kind)
    return _as_float if kind is float else _as_it_is


def _choice_builder(kind: Any) -> Builder:
    """Of one of several kinds, or None. A dataclass among them is told by the name it was saved under."""
    choices = [choice for choice in get_args(kind) if choice is not type(None)]
    named: dict[str, Any] = {}
    for choice in choices:
        for name in _names(choice) if isinstance(choice, type) and is_dataclass(choice) else ():
            named.setdefault(name, choice)
    usual = _builder(choices[0])

    def build(plain: Any) -> Any:
        if plain is None:
            return None
        if isinstance(plain, dict) and "_" in plain:
            if plain["_"] not in named:
                raise ValueError(f"{plain['_']} is none of {kind}")
            return _builder(named[plain["_"]])(plain)
        return usual(plain)

    return build


def _tuple_builder(args: tuple[Any, ...]) -> Builder:
    if len(args) == 2 and args[1] is Ellipsis:
        item = _builder(args[0])
        return tuple if item is _as_it_is else lambda plain: tuple([item(one) for one in plain])
    items = [_builder(arg) for arg in args]
    return lambda plain: tuple([item(one) for item, one in zip(items, plain, strict=True)])


def _checked_builder(kind: Any) -> Builder:
    """Of a dataclass that has a shorter form of its own."""
    def build(plain: Any) -> Any:
        _demand_dict(kind, plain)
        if plain.get("_") != kind.__name__:
            raise ValueError(f"saved {plain.get('_')} does not fit {kind.__name__}")
        return kind.from_plain(plain)

    return build


def _dataclass_builder(kind: Any) -> Builder:
    names, wanted = _names(kind), frozenset(f.name for f in fields(kind))
    needed = wanted - getattr(kind, "ADDED_LATER", frozenset())
    parts: dict[str, Builder] = {}  # filled at the first use: a kind may hold its own

    def build(plain: Any) -> Any:
        _demand_dict(kind, plain)
        if plain.get("_") not in names or not needed <= plain.keys() - {"_"} <= wanted:
            raise ValueError(f"saved {plain.get('_')} does not fit {kind.__name__}")
        if not parts:
            parts.update((name, _builder(hint)) for name, hint in get_type_hints(kind).items() if name in wanted)
        return kind(**{name: parts[name](value) for name, value in plain.items() if name != "_"})

    return build


def _demand_dict(kind: Any, plain: Any) -> None:
    if not isinstance(plain, dict):
        raise ValueError(f"saved {plain!r:.40} is not a {kind.__name__}")
