"""The door that boards publish through: three requests, each with the vehicle's key."""
import time
from typing import Any

from flask import Flask, Response, jsonify, request
from sqlalchemy import Engine
from sqlalchemy.exc import DBAPIError

from monitor.fleet import intake
from monitor.fleet.batch import MOST_BYTES
from monitor.fleet.keys import hash_of


def create_app(engine: Engine) -> Flask:
    """The door over one collection."""
    app = Flask("dashboard.fleet.intake", static_folder=None)
    app.config.update(MAX_CONTENT_LENGTH=MOST_BYTES + 1024)

    @app.get(f"{intake.PREFIX}state")
    @app.get(f"{intake.PREFIX}marks")
    @app.post(f"{intake.PREFIX}batches")
    def asked() -> tuple[Response, int]:
        key_hash, data = hash_of(_key()), request.get_data() if request.method == "POST" else None
        try:
            with engine.begin() as connection:
                return jsonify(intake.answer(connection, key_hash, _board(), request.full_path, data, time.time())), 200
        except intake.Refusal as refusal:
            with engine.begin() as connection:
                intake.note_refusal(connection, key_hash, refusal, time.time())
            return jsonify(word=refusal.word, sentence=refusal.sentence), refusal.status
        except DBAPIError as error:
            app.logger.error("the collection failed: %s", error.orig)
            return jsonify(word="trouble", sentence="The collector's database has trouble; try again later."), 503

    def refuse(status: int, word: str, sentence: str) -> Any:
        return lambda _: (jsonify(word=word, sentence=sentence), status)

    app.register_error_handler(413, refuse(413, "size", f"A batch may have {MOST_BYTES} bytes."))
    app.register_error_handler(404, refuse(404, "place", "There is nothing here for a board."))
    return app


def _key() -> str:
    kind, _, key = request.headers.get("Authorization", "").partition(" ")
    return key.strip()[:200] if kind == "Bearer" else ""


def _board() -> str:
    return request.headers.get("Ampledger-Board", "")[:200]
