"""The folder that set-up and its pages share: what is asked now, whole at any moment, and the answers that were given."""
import json
import os
import secrets
from pathlib import Path
from typing import Any

STATE, ANSWERS = "state.json", "answers"
#: Characters of an answer that are kept (choice: the longest sensible one is a path).
LONGEST_ANSWER = 200


def write_state(folder: Path, state: dict[str, Any]) -> None:
    """Puts what is asked now in place of what was; set-up's side."""
    fresh = folder / f".{STATE}.new"
    fresh.write_text(json.dumps(state, ensure_ascii=False), encoding="utf-8")
    fresh.chmod(0o644)
    fresh.replace(folder / STATE)


def read_state(folder: Path) -> dict[str, Any] | None:
    """What is asked now; None where set-up has not begun or has gone; the pages' side."""
    try:
        return dict(json.loads((folder / STATE).read_text(encoding="utf-8")))
    except (OSError, ValueError):
        return None


def leave_answer(folder: Path, number: int, text: str) -> None:
    """Leaves an answer to question `number`, whole or not at all; the pages' side. Raises OSError.

    folder: shared by setup and pages; number: of the question; text: the answer as typed.
    """
    name = secrets.token_hex(8)
    hidden = folder / ANSWERS / f".{name}"
    hidden.write_text(json.dumps({"number": number, "text": text[:LONGEST_ANSWER]}), encoding="utf-8")
    hidden.rename(folder / ANSWERS / f"{name}.json")


def take_answer(folder: Path, number: int) -> str | None:
    """The answer to question `number`, if there is one; answers to others are gone; set-up's side.

    The folder is written by another user, so nothing in it is followed, and nothing long is read.
    """
    found = None
    for entry in os.scandir(folder / ANSWERS):
        if entry.name.startswith(".") or not entry.name.endswith(".json"):
            continue
        try:
            opened = os.open(entry.path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
            with open(opened, "rb") as file:
                plain = json.loads(file.read(4096))
            os.unlink(entry.path)
            if plain["number"] == number and isinstance(plain["text"], str):
                found = plain["text"][:LONGEST_ANSWER]
        except (OSError, ValueError, KeyError, TypeError):
            if not entry.is_dir(follow_symlinks=False):
                os.unlink(entry.path)
    return found
