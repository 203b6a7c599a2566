"""The tables of numbers beside the rooms that use them: value, unit, source and meaning, one row each.

A room's `parameters.toml` has a table a module (`source` in it holds for the rows that name none of their own); what
several rooms share is in `battery/parameters.toml`. A module takes its rows by name when it is imported:

    P = table("detection/join", "engine")
    CHARGING_V = P.number("charging_v")

So a threshold is found by the room and the module it belongs to, and changed in one row.
"""
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

#: Beginnings of a source: where a number may come from.
SOURCES = ("published", "common practice", "from memory", "fitted", "definition", "choice")


@dataclass(frozen=True, slots=True)
class Row:
    """One number: its value as written, unit ("1": none), where it comes from, what it says; one standard deviation where given."""

    value: Any
    unit: str
    source: str
    meaning: str
    sigma: float | None = None


class Table:
    """The rows of one module. Every method raises KeyError where there is no such row, TypeError where it is of another kind."""

    def __init__(self, place: str, rows: dict[str, Row]) -> None:
        self._place = place
        self.rows = rows

    def _value(self, name: str, kind: type | tuple[type, ...]) -> Any:
        value = self.rows[name].value
        if not isinstance(value, kind) or isinstance(value, bool):
            raise TypeError(f"{self._place}.{name} = {value!r} is not a {kind}")
        return value

    def number(self, name: str) -> float:
        """A number with a unit."""
        return float(self._value(name, (int, float)))

    def sigma(self, name: str) -> float:
        """One standard deviation of a number."""
        sigma = self.rows[name].sigma
        if sigma is None:
            raise TypeError(f"{self._place}.{name} has no sigma")
        return sigma

    def count(self, name: str) -> int:
        """A whole number."""
        return int(self._value(name, int))

    def numbers(self, name: str) -> tuple[Any, ...]:
        """A list of numbers, or of lists of them."""
        return tuple(tuple(item) if isinstance(item, list) else item for item in self._value(name, list))

    def limits(self, *names: str) -> dict[str, tuple[float, float, str]]:
        """What may be entered: name -> least, most and unit ("" where there is none)."""
        found = {}
        for name in names:
            least, most = self.numbers(name)
            unit = self.rows[name].unit
            found[name] = (least, most, "" if unit == "1" else unit)
        return found

    def by_chemistry(self, name: str) -> dict[bool, Any]:
        """True: what holds for lead-acid, False: for lithium."""
        both = self._value(name, dict)
        return {True: _frozen(both["lead"]), False: _frozen(both["lithium"])}


def _frozen(value: Any) -> Any:
    return tuple(_frozen(item) for item in value) if isinstance(value, list) else value


@cache
def _room(room: str) -> dict[str, dict[str, Row]]:
    file = resources.files("monitor").joinpath(*room.split("/"), "parameters.toml")
    modules = tomllib.loads(file.read_text(encoding="utf-8"))
    return {module: {name: _row(f"{room}/parameters.toml, [{module}] {name}", row, rows.get("source", ""))
                     for name, row in rows.items() if name != "source"} for module, rows in modules.items()}


def _row(place: str, plain: dict[str, Any], source: str) -> Row:
    row = {"source": source} | plain
    if set(row) - {"sigma"} != {"value", "unit", "source", "meaning"}:
        raise ValueError(f"{place}: a row has value, unit, source, meaning and perhaps sigma; this one has {sorted(row)}")
    if not str(row["source"]).startswith(SOURCES):
        raise ValueError(f"{place}: the source begins with one of {SOURCES}, not {row['source']!r}")
    if row.get("sigma", 1.0) <= 0:
        raise ValueError(f"{place}: a sigma is above 0")
    return Row(**row)


def table(room: str, module: str) -> Table:
    """The rows of a module of a room, as table("detection/join", "engine").

    Raises
    ------
    FileNotFoundError, KeyError : no such room or module
    ValueError : a row without its unit, source or meaning
    """
    return Table(f"{room}.{module}", _room(room)[module])


def rooms() -> Iterator[tuple[str, dict[str, dict[str, Row]]]]:
    """Every room with numbers: its place, and module -> name -> row."""
    for place in ROOMS:
        yield place, _room(place)


ROOMS = ("battery", "detection", "detection/house", "detection/join", "detection/starter", "detection/wiring", "estimation",
         "estimation/observations", "forecast", "planning", "planning/climate", "reporting", "usage", "wear")
