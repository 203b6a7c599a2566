"""Every job of the command line can be done from a phone, or the documentation says why not."""
import importlib
import re
from pathlib import Path

import click

from dashboard.jobs.more_page import QUESTIONS
from monitor.cli import COMMANDS

DOC = Path(__file__).parents[2] / "docs" / "dashboard.md"


def _rows() -> list[tuple[str, str]]:
    """(commands, what stands beside them) of the table."""
    chapter = DOC.read_text().split("## Every command, from a phone")[1].split("\n## ")[0]
    found = [line.strip("|").split(" | ", 1) for line in chapter.splitlines() if line.startswith("|")][2:]
    return [(left.strip(), right.strip()) for left, right in found]


def _leaves() -> list[str]:
    """Every command with its sub-command, as `battery replaced`."""
    found = []
    for name, module in COMMANDS.items():
        command = getattr(importlib.import_module(f"monitor.commands.{module}"), name.replace("-", "_"))
        found += [f"{name} {sub}" for sub in command.commands] if isinstance(command, click.Group) else [name]
    return found


def test_each_command_has_its_page_or_the_reason_why_not() -> None:
    named = " ".join(left for left, _ in _rows())
    words = {word.strip() for group in re.findall(r"`([^`]+)`", named) for word in group.split(",")}
    bare = [leaf for leaf in _leaves() if leaf not in words and leaf.split()[0] not in words]
    assert not bare, f"name them in the table of {DOC.name}: {bare}"


def test_each_row_names_a_page_that_is_there_or_gives_a_reason() -> None:
    text = " ".join(f"{question} {words}" for rows in QUESTIONS.values() for question, words, _ in rows)
    pages = {"Now", "Tonight", "Log", "Starter", "Alerts", "Health", "About", "Documents", "Wiring", "Circuit sheet", "Parked", "More",
             "Board", "Label", "Second battery"}
    for left, right in _rows():
        names = re.findall(r"\*([^*]+)\*", right)
        reason = re.search(r"not from a phone|of the board itself|for developers|because|has to begin it|the pages of", right)
        assert names or reason, (left, right)
        for name in names:
            assert name in pages or name in text or name == "the pages of set-up", f"{left}: there is no page {name}"
