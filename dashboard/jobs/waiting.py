"""Long work as a page sees it: whoever does it, where a piece of it stands, and what the page that waits is told."""
import hashlib

from flask import Response, abort, current_app, jsonify

from dashboard.jobs.background import NUMBER, Background, Stage


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


def tell_stage(stage: Stage) -> Response:
    """How far it is, for the page that waits."""
    return jsonify(done_frac=stage.done_frac, over=bool(stage.file or stage.why))
