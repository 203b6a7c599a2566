"""Which of the site's applications answers: the boards' door, a vehicle's own pages, or the fleet's."""
import logging
import time
from collections.abc import Callable, Iterable
from datetime import timedelta
from functools import cached_property
from pathlib import Path
from typing import Any
from urllib.parse import quote

from flask import Flask, Response, jsonify, render_template, request
from jinja2 import ChoiceLoader, FileSystemLoader
from sqlalchemy import Engine, select
from sqlalchemy.exc import DBAPIError, TimeoutError

import dashboard
from dashboard import files, guard, log_view
from dashboard.fleet import door, intake_api, pages
from dashboard.fleet.door import Settings
from dashboard.words import clock_text
from monitor.fleet import database, intake, overview, people, years
from monitor.fleet.tables import vehicles
from monitor.fleet.view import CollectedReader
from monitor.reporting import sentences
from monitor.reporting.sentences import span

log = logging.getLogger("ampledger.fleet")
Environ = dict[str, Any]
Start = Callable[..., Any]
#: Where a vehicle's own pages hang, by its name; a number behind a tilde names an earlier log of it.
VEHICLE = "/vehicle/"


class Site:
    """The whole site as a WSGI application (PEP 3333)."""

    def __init__(self, engine: Engine, settings: Settings) -> None:
        with engine.begin() as connection:
            key = people.session_key(connection)
        self._engine = engine
        self._intake = intake_api.create_app(engine)
        self._fleet = _fleet_app(engine, key, settings)
        self._vehicle = _vehicle_app(engine, key, settings)

    def __call__(self, environ: Environ, start: Start) -> Iterable[bytes]:
        path = environ.get("PATH_INFO", "")
        if path.startswith(intake.PREFIX):
            return self._intake(environ, start)
        if path.startswith(VEHICLE):
            name, slash, rest = path.removeprefix(VEHICLE).partition("/")
            if not slash:
                start("308 Permanent Redirect", [("Location", f"{quote(path)}/"), ("Content-Length", "0")])
                return []
            if rest == "stream":  # a listener is told to come no more (HTML, server-sent events: 204)
                start("204 No Content", [])
                return []
            return self._vehicle({**environ, "SCRIPT_NAME": f"{environ.get('SCRIPT_NAME', '')}{VEHICLE}{name}", "PATH_INFO": f"/{rest}",
                                  "ampledger.vehicle": name}, start)
        return self._fleet(environ, start)


def _fleet_app(engine: Engine, key: bytes, settings: Settings) -> Flask:
    app = Flask("dashboard.fleet", static_folder=None)
    _share(app, key, settings.secure)
    app.config.update(ENGINE=engine, MAX_CONTENT_LENGTH=1024 * 1024, MAX_FORM_PARTS=30, CODE_TO_READ=False, CODE_HASH=None)
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    own = Path(__file__).parent
    app.jinja_loader = ChoiceLoader([FileSystemLoader(own / "templates"), FileSystemLoader(own.parent / "templates")])
    guard.install(app, settings.names)
    door.install(app, engine, settings, "/sign-in")
    app.jinja_env.filters["capfirst"] = sentences.capitalise
    app.jinja_env.globals.update(address=files.address, form_token=guard.form_token, number=sentences.number, span=sentences.span,
                                 chance=sentences.chance)
    app.register_blueprint(files.files)
    app.register_blueprint(pages.pages)
    return app


def _vehicle_app(engine: Engine, key: bytes, settings: Settings) -> Flask:
    """A vehicle's own pages, drawn from its collected rows by the board's own templates. Nothing can be changed there."""
    app = dashboard.create_app(Path("fleet"), names=settings.names, secure=settings.secure)
    _share(app, key, settings.secure)
    door.install(app, engine, settings, "/sign-in")

    def open_vehicle() -> log_view.LogView:
        return CollectedLogView(engine, request.environ["ampledger.vehicle"])

    @app.before_request
    def only_looks() -> Any:
        if request.blueprint not in ("jobs", "actions"):
            return None
        return render_template("words.html", title="On the board", heading="This is done on the vehicle's own board.",
                               text="Here are the rows that it sent; nothing in a vehicle can be changed from the fleet."), 403

    app.config.update(OPEN_LOG=open_vehicle)
    app.jinja_env.globals.update(on_board=False)
    return app


def _share(app: Flask, key: bytes, secure: bool) -> None:
    """The session that the applications of the site share."""
    app.config.update(SECRET_KEY=key, SESSION_COOKIE_NAME="ampledger-fleet", SESSION_COOKIE_HTTPONLY=True, SESSION_COOKIE_PATH="/",
                      SESSION_COOKIE_SAMESITE="Strict", SESSION_COOKIE_SECURE=secure, PERMANENT_SESSION_LIFETIME=timedelta(days=30),
                      SESSION_REFRESH_EACH_REQUEST=False)
    for kind in (DBAPIError, TimeoutError):
        app.register_error_handler(kind, _no_database)


def _no_database(error: Exception) -> tuple[str | Response, int]:
    log.error("the collection failed: %s", str(getattr(error, "orig", error)).strip().partition("\n")[0])
    heading, text = "The fleet's database cannot be asked.", "Boards keep what they have and send it later. Load this page again soon."
    if request.path.startswith("/api/"):
        return jsonify(title=heading, detail=text), 503
    return render_template("words.html", title="No answer", heading=heading, text=text), 503


class CollectedLogView(log_view.LogView):
    """One vehicle's collected rows for the length of one request; its age is that of the last batch."""

    on_board = False

    def __init__(self, engine: Engine, name: str) -> None:
        plain, _, wanted = name.partition("~")
        with database.reading(engine) as connection:
            row = connection.execute(select(vehicles.c.id, vehicles.c.line, vehicles.c.seen_utc_s, vehicles.c.version).where(
                vehicles.c.name == plain)).fetchone()
        if row is None or (wanted and not wanted.isdecimal()):
            raise log_view.NoLogView("There is no such vehicle.", f"No vehicle of this fleet is called {name[:40]}.",
                                     "Look in the list: Fleet")
        super().__init__(Path(plain if not wanted else f"{plain}, log number {wanted}"), log_view.MemoizedAnswers())
        self.board_version = row.version
        self._engine, self._vehicle_id, self._line = engine, row.id, int(wanted) if wanted else row.line
        self._seen_utc_s = row.seen_utc_s or 0.0
        self._reader = CollectedReader(engine, row.id, self._line, plain, self._seen_utc_s)

    @property
    def years_described(self) -> dict[str, Any] | None:
        with database.reading(self._engine) as connection:
            return years.read_years(connection, self._vehicle_id, self._line)

    @cached_property
    def stale(self) -> str:
        """A sentence where its board has sent nothing for long: what is a board's own hour of silence is none here."""
        if self.now is None or self._age_s < overview.SILENT_S:
            return ""
        silent_s = time.time() - self._seen_utc_s
        silent = silent_s >= overview.SILENT_S
        heard = f"Nothing has come from its board for {span(silent_s)}." if silent else "Its board sends nothing newer."
        return f"{heard} The newest reading is of {clock_text(self.now.utc_s)}."
