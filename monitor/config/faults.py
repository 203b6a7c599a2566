"""What is wrong with a configuration, said so that it can be mended: place, value, cause, cure."""
import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from monitor.battery.chemistry_words import find_meant

REQUIRED = {
    "house": 'chemistry = "agm"    # or flooded, gel, lfp\nrated_capacity_ah = 100',
    "starter": 'chemistry = "flooded"\nrated_capacity_ah = 70',
}


@dataclass(frozen=True, slots=True)
class ConfigFault:
    """One fault: where, what was written there, what is wrong, what to write."""

    table: str
    key: str
    value: Any
    wrong: str
    write: str

    def __str__(self) -> str:
        place = self.table if self.table.startswith("[") or not self.table else f"[{self.table}]"
        shown = f" {self.key}" if self.key else ""
        if self.value is not None:
            shown += f" = {self.value!r}" if self.key else f" {self.value!r}"
        where = f"{place}{shown}: " if place or shown else ""
        return f"{where}{self.wrong}" + (f"; {self.write}" if self.write else "")


class ConfigError(Exception):
    """A configuration with faults; str() lists them all, one a line."""

    def __init__(self, path: Path, faults: list[ConfigFault]) -> None:
        self.path, self.faults = path, tuple(faults)
        super().__init__("\n".join(f"{path}, {fault}" if fault.table or fault.key else f"{path}: {fault}"
                                   for fault in faults))


def missing_tables(plain: dict[str, Any]) -> list[ConfigFault]:
    """A fault for each battery that is not there at all, with the lines to write."""
    return [ConfigFault(name, "", None, "this table is missing", f"write:\n[{name}]\n{lines}")
            for name, lines in REQUIRED.items() if name not in plain]


def faults_of(error: ValidationError, model: type[BaseModel], place: str = "") -> list[ConfigFault]:
    """Every fault that validation found, in the words of the file.

    place is where the model's own keys stand ("" for the whole file, whose tables are its keys).

    error: what the validation raised; model: whose keys they are; place: dotted name of the table.
    """
    found = []
    for item in error.errors():
        path = [p for p in item["loc"] if not (isinstance(p, str) and p.startswith(("function-", "tagged-")))]
        table, key = _place(path, place)
        value = item.get("input")
        if item["type"] == "missing":
            found.append(ConfigFault(table, key, None, "is missing", _wish(model, path)))
            continue
        if path and path[-1] == "[key]":
            known = re.findall(r"'(\w+)'", item["msg"])
            near = difflib.get_close_matches(str(value), known, 1, 0.6)
            table, key = _place(path[:-1], place)
            found.append(ConfigFault(table, key, None, "this is not a quantity",
                               f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"))
            continue
        if item["type"] == "extra_forbidden":
            known = _field_names(model, path)
            near = difflib.get_close_matches(str(path[-1]), known, 1, 0.6)
            cure = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"
            found.append(ConfigFault(table, key, value, "this key is not known", cure))
            continue
        message = item["msg"].removeprefix("Value error, ")
        if item["type"] == "string_pattern_mismatch":
            message = "it does not look as it should"  # a pattern tells a person nothing; the description does
        meant = find_meant([str(value).lower()]) if item["type"] == "literal_error" and key.endswith("chemistry") else None
        if meant is not None:
            found.append(ConfigFault(table, key, value, f"did you mean {meant[0]} ({meant[1]})?", f'then write {key} = "{meant[0]}"'))
            continue
        shown = None if isinstance(value, (dict, list, BaseModel)) else value
        found.append(ConfigFault(table, key, shown, message[:1].lower() + message[1:], _wish(model, path)))
    return found


def _place(path: list[Any], place: str) -> tuple[str, str]:
    if place:
        return place, ".".join(str(p) for p in path)
    if not path:
        return "", ""
    head = str(path[0])
    rest = path[1:]
    if rest and isinstance(rest[0], int):
        return f"[{head}] number {rest[0] + 1}", ".".join(str(p) for p in rest[1:])
    return head, ".".join(str(p) for p in rest)


def _model_at(model: type[BaseModel], path: list[Any]) -> type[BaseModel] | None:
    keyed = False
    for part in path:
        if isinstance(part, int) or keyed:  # a place in a list, a key of a table of tables
            keyed = False
            continue
        field = _fields(model).get(str(part))
        models = list(_models_in(field.annotation)) if field is not None else []
        if field is None or not models:
            return None
        model, keyed = models[0], _is_dict(field.annotation)
    return model


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    """Fields by the keys that a person writes."""
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from _models_in(part)


def _is_dict(annotation: Any) -> bool:
    return get_origin(annotation) is dict or any(_is_dict(part) for part in get_args(annotation))


def _field_names(model: type[BaseModel], path: list[Any]) -> list[str]:
    inner = _model_at(model, path[:-1])
    return sorted(_fields(inner)) if inner else []


def _wish(model: type[BaseModel], path: list[Any]) -> str:
    inner = _model_at(model, path[:-1]) if path else None
    field = _fields(inner).get(str(path[-1])) if inner else None
    return f"it is {field.description}" if field is not None and field.description else ""
