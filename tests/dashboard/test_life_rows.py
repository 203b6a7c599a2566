"""Years left on the page Health: why there are none, the work that is begun, yesterday's until today's is there."""
import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from flask import Flask

from dashboard import life_rows
from dashboard.jobs.background import Stage


class _Background:
    """Stands in for the long work: remembers what was begun."""

    def __init__(self, stage: Stage | None, kept: list[tuple[str, Path]]) -> None:
        self._stage, self._kept, self.begun = stage, kept, 0

    def stage(self, *_: str) -> Stage | None:
        return self._stage

    def start(self, *_: Any) -> bool:
        self.begun += 1
        return True

    def list_results(self, _kind: str) -> list[tuple[str, Path]]:
        return self._kept


def _shown(monkeypatch: pytest.MonkeyPatch, days: float, stage: Stage | None = None,
           kept: list[tuple[str, Path]] | None = None) -> tuple[dict[str, Any], _Background]:
    work = _Background(stage, kept or [])
    monkeypatch.setattr(life_rows, "background", lambda: work)
    app = Flask("test")
    app.config["DATABASE"] = Path("log.db")
    book: Any = SimpleNamespace(on_board=True, known=SimpleNamespace(utc_s=1e9 + days * 86400), extent=lambda: (1e9, 1e9 + days * 86400))
    with app.app_context():
        return life_rows.describe_life(book), work


def _answer(folder: Path, name: str, headline: str) -> Path:
    file = folder / f"life-{name}.json"
    file.write_text(json.dumps({"headline": headline, "rows": [["Until it holds 80 %", "3 years", ""]], "made_utc_s": 1.0}))
    return file


def test_a_young_log_begins_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    found, work = _shown(monkeypatch, 5.0)
    assert "younger than 14 days" in found["because"] and not found["rows"] and work.begun == 0


def test_it_is_begun_once_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    found, work = _shown(monkeypatch, 30.0)
    assert "worked out" in found["because"] and work.begun == 1
    found, work = _shown(monkeypatch, 30.0, Stage(0.5))
    assert "worked out" in found["because"] and work.begun == 0


def test_yesterdays_stands_until_todays_is_there(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    old, new = _answer(tmp_path, "0" * 12, "About 4 years left."), _answer(tmp_path, "1" * 12, "About 3 years left.")
    found, work = _shown(monkeypatch, 30.0, None, [("0" * 12, old)])
    assert found["headline"] == "About 4 years left." and work.begun == 1
    assert _shown(monkeypatch, 30.0, Stage(1.0, new), [("0" * 12, old)])[0]["headline"] == "About 3 years left."


def test_a_failure_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    assert _shown(monkeypatch, 30.0, Stage(why="The log is busy."))[0]["because"] == "The log is busy."
