"""What a person reads on the board names only what is there: a page or a command, never a file of the checkout."""
import ast
import re
from functools import cache
from pathlib import Path

import pytest

from monitor import documents

ROOT = Path(__file__).parent.parent
SOURCES = sorted(p for top in ("monitor", "drivers", "dashboard") for p in (ROOT / top).rglob("*.py"))
#: They handle the files themselves.
READERS = {"monitor/documents.py", "monitor/guides/text.py", "monitor/commands/docs.py", "dashboard/guide_text.py"}
FILE_NAMED = re.compile(r"docs/|\.md\b")


@cache
def said(path: Path) -> tuple[str, ...]:
    """Every string of a module that is not a docstring of something that no person calls; a command's docstring is its help."""
    nodes = list(ast.walk(ast.parse(path.read_text())))
    silent = set()
    for node in nodes:
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and ast.get_docstring(node):
            command = any("command" in ast.unparse(d) or "group" in ast.unparse(d) for d in getattr(node, "decorator_list", ()))
            if not command:
                silent.add(id(node.body[0].value))
    return tuple(node.value for node in nodes
                 if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent)


def test_no_message_names_a_file_of_the_documentation() -> None:
    named = {place: texts for path in SOURCES if (place := path.relative_to(ROOT).as_posix()) not in READERS
             and (texts := [text for text in said(path) if FILE_NAMED.search(text)])}
    assert named == {}


@pytest.mark.parametrize("path", sorted((ROOT / "dashboard/templates").glob("*.html")), ids=lambda p: p.name)
def test_no_page_names_a_file_of_the_documentation(path: Path) -> None:
    assert not FILE_NAMED.search(re.sub(r"{#.*?#}", "", path.read_text(), flags=re.S))


def test_every_document_that_is_named_is_there() -> None:
    named = {name: path.name for path in SOURCES for text in said(path) for name in re.findall(r"`ampledger docs ([a-z-]+)`", text)}
    assert {name: place for name, place in named.items() if name not in documents.names()} == {}
    assert len(named) > 3
