"""Pages drawn from the log, in a process of their own that only reads."""
import secrets
from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta
from pathlib import Path

from flask import Flask


def create_app(
    database: Path, *, requests_folder: Path | None = None, doors: Callable[[], Sequence[Path]] | None = None, code_hash: str | None = None,
    code_to_read: bool = False, names: Iterable[str] = (), secure: bool = False, results_folder: Path | None = None,
) -> Flask:
    """The dashboard over one log, as a WSGI application.

    database : the log's file; it is opened for reading only, at each request, and may appear later
    requests_folder : where acknowledging and shelving are left for the daemon; None: nothing can be changed here
    doors : in place of requests_folder, asked at each request: folders to leave it in, the best first
    code_hash : a hash from `ampledger code`; then any change needs the code. Without it only a browser
        on the board itself may change anything
    code_to_read : reading needs the code too
    names : names the board is called by, beside its own, that a browser may ask for
    secure : it is served over TLS only, so the session's cookie must not go another way
    results_folder : where results of long work are kept; None: they go with this process

    Raises
    ------
    ValueError : reading shall need a code and none is set
    """
    from dashboard import actions, api, data_out, failures, files, guard, guide_pages, jobs, log_view, pages
    from dashboard.jobs.background import Background
    from monitor.reporting import sentences

    if code_to_read and code_hash is None:
        raise ValueError("reading cannot need a code while none is set: run `ampledger code` and give its hash")
    app = Flask(__name__, static_folder=None)
    app.config.update(
        DATABASE=Path(database), DOORS=doors or ((lambda: (requests_folder,)) if requests_folder else None),
        CODE_HASH=code_hash, CODE_TO_READ=code_to_read,
        # A session lives as long as this process and this code; the key is nowhere on the card.
        SECRET_KEY=secrets.token_bytes(32), CODE_MARK=secrets.token_hex(8),
        SESSION_COOKIE_NAME="ampledger", SESSION_COOKIE_HTTPONLY=True, SESSION_COOKIE_SAMESITE="Strict", SESSION_COOKIE_SECURE=secure,
        PERMANENT_SESSION_LIFETIME=timedelta(days=30), SESSION_REFRESH_EACH_REQUEST=False,
        MAX_CONTENT_LENGTH=16 * 1024, MAX_FORM_PARTS=20,
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.extensions["kept"] = log_view.MemoizedAnswers()
    app.extensions["background"] = Background(results_folder)
    app.teardown_appcontext(log_view.close_log_view)
    guard.install(app, names)
    failures.install(app)
    app.jinja_env.filters["capfirst"] = sentences.capitalise
    app.jinja_env.globals.update(
        address=files.address, form_token=guard.form_token, report=sentences, figure=sentences.figure,
        number=sentences.number, span=sentences.span, chance=sentences.chance, on_board=True)
    app.register_blueprint(files.files)
    app.register_blueprint(pages.pages)
    app.register_blueprint(guide_pages.guides)
    app.register_blueprint(actions.actions)
    app.register_blueprint(api.api)
    app.register_blueprint(data_out.data_out)
    jobs.install(app)
    return app
