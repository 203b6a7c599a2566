"""Long work as a page sees it: whoever does it, where a piece of it stands, and what the page that waits is told."""
import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from flask import Response, abort, current_app, jsonify, render_template, url_for

from dashboard import log_view as books
from dashboard.jobs.background import NUMBER, Background, Stage

#: What a list says of an answer that is kept, by its file and when that was written: an answer may hold many sheets.
_picked: dict[tuple[Path, int], Any] = {}
MOST_PICKED = 64


def background() -> Background:
    """Whoever does the long work of these pages."""
    return current_app.extensions["background"]


def number_of(*told: str) -> str:
    """What a piece of work is called in addresses: the same for the same words."""
    return hashlib.sha256("\n".join(told).encode()).hexdigest()[:12]


def stage_of(name: str, file_name: str) -> Stage:
    """Where a piece of work stands; a page that is not there, where nothing is known of it.

    name : as an address gives it; file_name : of its result
    """
    stage = background().stage(name, file_name) if NUMBER.fullmatch(name) else None
    if stage is None:
        abort(404)
    return stage


def working_page(title: str, page: str, name: str, stage: Stage, doing: str) -> str:
    """The page of a piece of work that is not done yet, or failed.

    title : of the page; page : its name in addresses; name : of the work; stage : where it stands; doing : what is going on
    """
    view = page.replace("-", "_")
    return render_template("working.html", title=title, page=page, book=books.open_log_view(), stage=stage, heading=title,
                           state=url_for(f"jobs.{view}_state", name=name), back=url_for(f"jobs.{view}"),
                           doing=f"{doing} Measuring and the other pages go on meanwhile.")


def kept_answers(kind: str, pick: Callable[[dict[str, Any]], Any]) -> list[tuple[str, Any]]:
    """(number, what a list says of it) of the answers of a kind, latest first; one that cannot be read is left out.

    kind : as files are named; pick : what is wanted of an answer, kept for the next time
    """
    found = []
    for number, file in background().list_results(kind):
        try:
            key = (file, file.stat().st_mtime_ns)
            if key not in _picked:
                picked = pick(json.loads(file.read_text(encoding="utf-8")))
                while len(_picked) >= MOST_PICKED:
                    _picked.pop(next(iter(_picked)), None)
                _picked[key] = picked
            found.append((number, _picked[key]))
        except (OSError, ValueError, KeyError):
            continue
    return found


def tell_stage(stage: Stage) -> Response:
    """How far it is, for the page that waits."""
    return jsonify(done_frac=stage.done_frac, over=bool(stage.file or stage.why))
