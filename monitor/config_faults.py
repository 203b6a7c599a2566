"""What is wrong with a configuration, said so that it can be mended: place, value, cause, cure."""
import difflib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

REQUIRED = {
    "house": 'chemistry = "agm"    # or flooded, gel, lfp\nrated_capacity_ah = 100',
    "starter": 'chemistry = "flooded"\nrated_capacity_ah = 70',
}


@dataclass(frozen=True, slots=True)
class Fault:
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

    def __init__(self, path: Path, faults: list[Fault]) -> None:
        self.path, self.faults = path, tuple(faults)
        super().__init__("\n".join(f"{path}, {fault}" if fault.table or fault.key else f"{path}: {fault}"
                                   for fault in faults))


def missing_tables(plain: dict[str, Any]) -> list[Fault]:
    """A fault for each battery that is not there at all, with the lines to write."""
    return [Fault(name, "", None, "this table is missing", f"write:\n[{name}]\n{lines}")
            for name, lines in REQUIRED.items() if name not in plain]


def faults_of(error: ValidationError, model: type[BaseModel], place: str = "") -> list[Fault]:
    """Every fault that validation found, in the words of the file.

    place is where the model's own keys stand ("" for the whole file, whose tables are its keys).
    """
    found = []
    for item in error.errors():
        path = [p for p in item["loc"] if not (isinstance(p, str) and p.startswith(("function-", "tagged-")))]
        table, key = _place(path, place)
        value = item.get("input")
        if item["type"] == "missing":
            found.append(Fault(table, key, None, "is missing", _wish(model, path, place)))
            continue
        if item["type"] == "extra_forbidden":
            known = _known(model, path, place)
            near = difflib.get_close_matches(str(path[-1]), known, 1, 0.6)
            cure = f"did you mean {near[0]}?" if near else f"known here: {', '.join(known)}"
            found.append(Fault(table, key, value, "this key is not known", cure))
            continue
        message = item["msg"].removeprefix("Value error, ")
        shown = None if isinstance(value, (dict, list, BaseModel)) else value
        found.append(Fault(table, key, shown, message[:1].lower() + message[1:], _wish(model, path, place)))
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
    for part in path:
        if isinstance(part, int):
            continue
        field = model.model_fields.get(str(part))
        if field is None:
            return None
        kinds = [field.annotation, *get_args(field.annotation)]
        models = [k for k in kinds if isinstance(k, type) and issubclass(k, BaseModel)]
        if not models:
            return None
        model = models[0]
    return model


def _known(model: type[BaseModel], path: list[Any], place: str) -> list[str]:
    inner = _model_at(model, path[:-1])
    return sorted(inner.model_fields) if inner else []


def _wish(model: type[BaseModel], path: list[Any], place: str) -> str:
    inner = _model_at(model, path[:-1]) if path else None
    field = inner.model_fields.get(str(path[-1])) if inner else None
    return f"it is {field.description}" if field is not None and field.description else ""
