"""Everything a person reads of this program, piece by piece: pages, commands, alerts, guides and docs."""
import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parent.parent
#: Files whose strings no person reads: rows of the store, names of traces, SQL.
UNREAD = ("monitor/store/migrations",)
TAG, EXPRESSION = re.compile(r"<[^>]*>"), re.compile(r"\{\{.*?\}\}")
COMMENT, STATEMENT = re.compile(r"\{#.*?#\}", re.S), re.compile(r"\{%.*?%\}", re.S)
QUOTED = re.compile(r"'([^']*)'|\"([^\"]*)\"")


@cache
def texts() -> tuple[tuple[str, str], ...]:
    """(file and line, text) of each piece."""
    return tuple(_texts())


def _texts() -> Iterator[tuple[str, str]]:
    for folder in ("monitor", "dashboard"):
        for path in sorted((ROOT / folder).rglob("*.py")):
            place = path.relative_to(ROOT).as_posix()
            if not place.startswith(UNREAD):
                yield from strings(path, place)
    for path in sorted((ROOT / "dashboard/templates").glob("*.html")):
        yield from _template(path)
    for path in sorted((ROOT / "dashboard/static").glob("*.js")):
        yield from ((f"{path.name}:{n}", line) for n, line in enumerate(path.read_text().splitlines(), 1))
    for path in (ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))):
        yield from ((f"{path.name}:{n}", line) for n, line in enumerate(path.read_text().splitlines(), 1))


def strings(path: Path, place: str) -> Iterator[tuple[str, str]]:
    """Strings of more than one word that are no docstring, and docstrings of commands, which are their help."""
    nodes = list(ast.walk(ast.parse(path.read_text())))
    documented = {id(node.body[0].value) for node in nodes
                  if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
                  and node.body and isinstance(node.body[0], ast.Expr)}
    pieces = {id(part) for node in nodes if isinstance(node, ast.JoinedStr) for part in node.values}
    for node in nodes:
        if isinstance(node, ast.JoinedStr):
            text = "".join(str(part.value) if isinstance(part, ast.Constant) else "…" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in documented | pieces:
            text = node.value
        else:
            continue
        if " " in text.strip():
            yield f"{place}:{node.lineno}", text
    for node in nodes:
        if isinstance(node, ast.FunctionDef) and any("command" in ast.unparse(d) or "group" in ast.unparse(d) for d in node.decorator_list):
            yield f"{place}:{node.lineno}", ast.get_docstring(node) or ""


def _template(path: Path) -> Iterator[tuple[str, str]]:
    """What a template prints: its text and the strings of its expressions."""
    for n, line in enumerate(path.read_text().splitlines(), 1):
        line = COMMENT.sub("", line)
        spoken = " ".join(a or b for a, b in QUOTED.findall(" ".join(re.findall(r"\{\{.*?\}\}|\{%.*?%\}", line))) if " " in (a or b))
        labels = " ".join(re.findall(r"(?:aria-label|placeholder|title)=\"([^\"]*)\"", line))
        yield f"{path.name}:{n}", f"{TAG.sub(' ', EXPRESSION.sub(' ', STATEMENT.sub(' ', line)))} {spoken} {labels}"
