"""The door that boards publish through: three requests, each with the vehicle's key."""
import time
from typing import Any

from flask import Flask, Response, jsonify, request
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from monitor.fleet import intake
from monitor.fleet.batch import MOST_BYTES
from monitor.fleet.by_hand import after_of

PREFIX = "/fleet/v1/"


def create_app(engine: Engine) -> Flask:
    """The door over one collection."""
    app = Flask("dashboard.fleet.intake", static_folder=None)
    app.config.update(MAX_CONTENT_LENGTH=MOST_BYTES + 1024)

    @app.get(f"{PREFIX}state")
    def state() -> Any:
        return _answer(lambda connection: intake.state_of(connection, _key(), _board()))

    @app.get(f"{PREFIX}marks")
    def marks() -> Any:
        return _answer(lambda connection: {"marks": intake.marks_of(connection, _key(), _board(), False, after_of(request.full_path))})

    @app.post(f"{PREFIX}batches")
    def batches() -> Any:
        data = request.get_data()
        return _answer(lambda connection: intake.take(connection, _key(), data, time.time()))

    def _answer(ask: Any) -> tuple[Response, int]:
        try:
            with engine.begin() as connection:
                return jsonify(ask(connection)), 200
        except intake.Refusal as refusal:
            with engine.begin() as connection:
                intake.note_refusal(connection, _key(), refusal, time.time())
            return jsonify(word=refusal.word, sentence=refusal.sentence), refusal.status
        except DBAPIError as error:
            app.logger.error("the collection failed: %s", error.orig)
            return jsonify(word="trouble", sentence="The collector's database has trouble; try again later."), 503

    app.register_error_handler(413, lambda _: (jsonify(word="size", sentence=f"A batch may have {MOST_BYTES} bytes."), 413))
    app.register_error_handler(404, lambda _: (jsonify(word="place", sentence="There is nothing here for a board."), 404))
    return app


def _key() -> str:
    kind, _, key = request.headers.get("Authorization", "").partition(" ")
    return key.strip()[:200] if kind == "Bearer" else ""


def _board() -> str:
    return request.headers.get("Ampledger-Board", "")[:200]
