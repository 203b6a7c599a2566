"""Tracker states to text and back, exactly: floats keep every bit, unknown fields are refused."""
import json
import types
from dataclasses import fields, is_dataclass
from functools import cache
from typing import Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

Saved = TypeVar("Saved")

#: Class -> what it was called when earlier logs were written; a state saved under that name is read as before.
FORMER_NAMES = {
    "AlertsState": "Held", "AlternatorControl": "Throttle", "BatteryHistory": "Lives", "BatteryService": "Life",
    "BestDrain": "Best", "ChargeState": "Held", "CountsFindings": "Findings", "CountsState": "Held", "CrankState": "Held",
    "CurrentLevel": "Level", "CurrentStep": "Step", "DelayedCondition": "Pending", "EngineState": "Run", "EvidenceLine": "Line",
    "ForecastState": "Held", "HealthState": "Held", "HouseAlertsState": "Held", "IsolatorEvidence": "Contact",
    "JoinRecord": "Record", "JoinState": "Held", "JoinVoltage": "Gap", "LatestVoltage": "Now", "LevelAlert": "Level",
    "LoadOffState": "Watched", "LoadSlot": "Slot", "LoadStep": "Step", "LoadsFindings": "Findings", "LoadsState": "Held",
    "NightOutcome": "Night", "OpenSwing": "Open", "OpenWeek": "Filling", "PathResistance": "Path",
    "PlausibilityState": "Held", "RunKind": "Kind", "StarterState": "Held", "SwingsState": "Held",
    "TemperatureSwings": "Swings", "TrackerStates": "Watch", "VoltageLevel": "Level", "WeekLevel": "Level",
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
        state: Saved = _build(kind, json.loads(text))
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


@cache
def _hints(kind: type) -> dict[str, Any]:
    return get_type_hints(kind)


def _names(kind: type) -> tuple[str, ...]:
    """What a saved dataclass of this kind may be called: its name now, and before."""
    former = FORMER_NAMES.get(kind.__name__)
    return (kind.__name__,) if former is None else (kind.__name__, former)


def _build(kind: Any, plain: Any) -> Any:
    origin = get_origin(kind)
    if origin in (Union, types.UnionType):
        if plain is None:
            return None
        choices = [choice for choice in get_args(kind) if choice is not type(None)]
        if isinstance(plain, dict) and "_" in plain:
            for choice in choices:
                if isinstance(choice, type) and is_dataclass(choice) and plain["_"] in _names(choice):
                    return _build(choice, plain)
            raise ValueError(f"{plain['_']} is none of {kind}")
        return _build(choices[0], plain)
    if origin is tuple:
        args = get_args(kind)
        if len(args) == 2 and args[1] is Ellipsis:
            return tuple(_build(args[0], item) for item in plain)
        return tuple(_build(arg, item) for arg, item in zip(args, plain, strict=True))
    if origin is dict:
        key, item = get_args(kind)
        return {(int(k) if key is int else k): _build(item, v) for k, v in plain.items()}
    if origin is Literal or kind is Any:
        return plain
    if isinstance(kind, type) and is_dataclass(kind):
        return _build_dataclass(kind, plain)
    if kind is float and isinstance(plain, int):
        return float(plain)
    return plain


def _build_dataclass(kind: Any, plain: Any) -> Any:
    if not isinstance(plain, dict):
        raise ValueError(f"saved {plain!r:.40} is not a {kind.__name__}")
    if hasattr(kind, "from_plain"):
        if plain.get("_") != kind.__name__:
            raise ValueError(f"saved {plain.get('_')} does not fit {kind.__name__}")
        return kind.from_plain(plain)
    hints = _hints(kind)
    given = {name: plain[name] for name in plain if name != "_"}
    wanted = {f.name for f in fields(kind)}
    if plain.get("_") not in _names(kind) or not wanted - getattr(kind, "ADDED_LATER", frozenset()) <= set(given) <= wanted:
        raise ValueError(f"saved {plain.get('_')} does not fit {kind.__name__}")
    return kind(**{name: _build(hints[name], value) for name, value in given.items()})
