"""Public functions of three or more parameters say what each is, with its unit; an example in a docstring is true."""
import ast
import doctest
import importlib
import re
from collections.abc import Iterator
from functools import cache

import pytest

from tests.test_layout import ROOT, SOURCES

#: What click hands to a kind of parameter of its own.
CLICK = ["value", "param", "ctx"]
#: A name's last part where it is a unit.
UNITS = re.compile(r"_(v|a|ah|wh|w|ohm|c|s|h|frac|pct|deg|hz|m|mm2|ms|ln|px|ratio|count|k|g|m3|bytes)$")


def _functions(tree: ast.AST, inside_class: bool = False, derived: bool = False) -> Iterator[tuple[ast.FunctionDef, bool]]:
    """Public functions and methods, and whether one may only repeat what a base class has said."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from _functions(node, True, bool(node.bases))
        elif isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield node, derived


def _parameters(function: ast.FunctionDef) -> list[str]:
    a = function.args
    every = (*a.posonlyargs, *a.args, *a.kwonlyargs, *filter(None, (a.vararg, a.kwarg)))
    return [p.arg for p in every if p.arg not in ("self", "cls") and not p.arg.startswith("_")]


def _meaning(doc: str, name: str) -> str:
    """What a docstring says of a parameter: "name: meaning; other: meaning." or a row "name : meaning"."""
    flat = " ".join(doc.split())
    for pattern in (rf"(?:^|\s){name}(?:, \w+)* : (.+?)(?=;| \w+(?:, \w+)* : |$)",
                    rf"(?:^|[;.)\]] ){{0,1}}(?:\w+, )*\b{name}(?:, \w+)*: (.+?)(?=;|\. |\.$|$)"):
        if found := re.search(pattern, flat):
            return found[1].strip()
    return ""


@cache
def _missing() -> tuple[tuple[str, str], ...]:
    found = []
    for path in SOURCES:
        place = path.relative_to(ROOT).as_posix()
        if "migrations" in place:
            continue
        for function, derived in _functions(ast.parse(path.read_text())):
            names, doc = _parameters(function), ast.get_docstring(function)
            commands = any("option" in ast.unparse(d) or "command" in ast.unparse(d) for d in function.decorator_list)
            if len(names) < 3 or commands or derived and (doc is None or names == CLICK):
                continue
            for name in names:
                meaning = _meaning(doc or "", name)
                words = UNITS.sub("", name).replace("_", " ")
                if not meaning or re.sub(r"\s*\[.*?\]", "", meaning).strip(" .") in (words, f"the {words}"):
                    found.append((place, f"{place}:{function.lineno} {function.name}: {name}"))
    return tuple(found)


def test_every_parameter_is_explained() -> None:
    bare = [line for _, line in _missing()]
    assert not bare, "say what it is and its unit, in other words than its name:\n" + "\n".join(bare)


def test_the_check_sees_what_it_should() -> None:
    said = "What it gives.\n\na_frac: part that is left; b, c: the ends [V]; d_s: how long [s]."
    assert _meaning(said, "a_frac") == "part that is left" and _meaning(said, "c") == "the ends [V]" and not _meaning(said, "e")
    assert _meaning("x : of the line\n\ny, z : of the plane", "z") == "of the plane"


@pytest.mark.parametrize("place", [path.relative_to(ROOT).as_posix() for path in SOURCES if ">>> " in path.read_text()])
def test_examples_give_what_they_say(place: str) -> None:
    module = importlib.import_module(place.removesuffix(".py").removesuffix("/__init__").replace("/", "."))
    failed, tried = doctest.testmod(module)
    assert tried and not failed
