"""What docs/ says of commands and settings, made from the code: `python -m tests.docs_text` writes it anew."""
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
from pydantic import BaseModel

DOCS = Path(__file__).parent.parent / "docs"


def help_texts() -> str:
    """The --help of every command, with its sub-commands."""
    from monitor.cli import commands

    parts = ["## ampledger", "", _block(_help(commands, "ampledger"))]
    for path, command in _commands(commands, "ampledger"):
        parts += ["", f"{'#' * (1 + len(path.split()))} {path}", "", _block(_help(command, path))]
    return "\n".join(parts)


def _commands(group: click.Group, path: str) -> Iterator[tuple[str, click.Command]]:
    ctx = click.Context(group, info_name=path)
    for name in group.list_commands(ctx):
        command = group.get_command(ctx, name)
        yield f"{path} {name}", command
        if isinstance(command, click.Group):
            yield from _commands(command, f"{path} {name}")


def _help(command: click.Command, path: str) -> str:
    with click.Context(command, info_name=path, terminal_width=100, max_content_width=100,
                       help_option_names=["-h", "--help"]) as ctx:
        return command.get_help(ctx)


def _block(text: str) -> str:
    return "\n".join(["```text", *(line.rstrip() for line in text.splitlines()), "```"])


def key_tables() -> str:
    """A table of keys for each table of the configuration."""
    from monitor.config.tables import File

    parts = []
    for name, field in File.model_fields.items():
        model = _model(field.annotation)
        title = f"[[{name}]]" if name == "source" else f"[{name}]"
        parts += [f"### {title}", "", f"{field.description[:1].upper()}{field.description[1:]}.", "",
                  "| key | default | limits | meaning |", "|---|---|---|---|",
                  *(_row(key, inner) for key, inner in model.model_fields.items()), ""]
        if name == "alerts":
            parts += ["`mqtt` is a table of its own:", "", "| key | default | limits | meaning |", "|---|---|---|---|",
                      *(_row(key, inner) for key, inner in _model(model.model_fields["mqtt"].annotation).model_fields.items()), ""]
    return "\n".join(parts).rstrip()


def limit_tables() -> str:
    """Every limit with its sources, the freezing table, and how soon each alert comes."""
    from monitor.battery.label import CHEMISTRIES
    from monitor.battery.limits import freezing_table, rows, told_within_s

    parts = ["## By kind of battery", "", f"| limit | {' | '.join(CHEMISTRIES)} | unit | source |",
             "|---|" + "---|" * (len(CHEMISTRIES) + 2)]
    for row in rows():
        values = dict(row.values)
        cells = " | ".join(f"{values[c]:g}" if c in values else "–" for c in CHEMISTRIES)
        parts.append(f"| {row.means} (`{row.name}`) | {cells} | {row.unit} | {row.source} ({row.basis}) |")
    parts += ["", "## Freezing point of battery acid", "", "| density at 25 °C, kg/l | freezes at, °C |", "|---|---|",
              *(f"| {density:.3f} | {point:g} |" for density, point in freezing_table()),
              "", "## How soon it is said", "", "| alert | at the latest after its cause |", "|---|---|",
              *(f"| `{kind}` | {_span(seconds)} |" for kind, seconds in told_within_s().items())]
    return "\n".join(parts)


def _span(seconds: float) -> str:
    return f"{seconds / 60:g} min" if seconds < 7200 else f"{seconds / 3600:g} h"


def _model(annotation: Any) -> type[BaseModel]:
    kinds = [annotation, *getattr(annotation, "__args__", ())]
    return next(k for k in kinds if isinstance(k, type) and issubclass(k, BaseModel))


def _row(key: str, field: Any) -> str:
    if field.is_required():
        default = "**must be given**"
    else:
        value = field.get_default(call_default_factory=True)
        default = "" if value is None else f"`{_toml(value)}`"
    signs = {"gt": "above {}", "ge": "from {}", "lt": "below {}", "le": "to {}"}
    limits = " ".join(sign.format(f"{getattr(m, name):g}") for m in field.metadata for name, sign in signs.items()
                      if getattr(m, name, None) is not None)
    choices = getattr(field.annotation, "__args__", ()) if "Literal" in str(field.annotation) else ()
    limits = limits or ", ".join(f"`{c}`" for c in choices)
    return f"| `{key}` | {default} | {limits} | {field.description} |"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, float) else f'"{value}"' if isinstance(value, (str, Path)) else str(value)


def between(text: str, name: str) -> tuple[str, str, str]:
    """A document cut at `<!-- NAME -->` and `<!-- end of NAME -->`: before, inside, after."""
    first, last = f"<!-- {name} -->\n", f"\n<!-- end of {name} -->"
    before, rest = text.split(first)
    inside, after = rest.split(last)
    return before + first, inside, last + after


def made() -> dict[tuple[str, str], str]:
    """(document, marker) -> the text that belongs there."""
    return {("commands.md", "help"): help_texts(), ("configuration.md", "keys"): key_tables(), ("limits.md", "limits"): limit_tables()}


def state_schema() -> str:
    """JSON Schema of the state that is published."""
    import json

    from dashboard.openapi import describe_message

    return json.dumps(describe_message(), indent=1, ensure_ascii=False) + "\n"


def copied() -> dict[str, str]:
    """document -> the whole text or picture that it is: the guides are packaged, so that the board can show them."""
    from monitor.guides.text import GUIDES, read_guide
    from monitor.guides.wiring_picture import draw
    from monitor.guides.wiring_plan import WiringPlan

    return {document: read_guide(name) for name, (_, document) in GUIDES.items()} | {"wiring.svg": draw(WiringPlan())}


if __name__ == "__main__":
    from monitor.config.load import schema_text

    for (document, marker), text in made().items():
        path = DOCS / document
        before, _, after = between(path.read_text(), marker)
        path.write_text(before + text + after)
    (DOCS / "ampledger.schema.json").write_text(schema_text())
    (DOCS / "state-1.schema.json").write_text(state_schema())
    for document, text in copied().items():
        (DOCS / document).write_text(text)
