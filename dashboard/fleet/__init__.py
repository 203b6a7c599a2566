"""The pages of a fleet and the door that boards publish through: one WSGI application over one collection, holding nothing of its own."""
from collections.abc import Callable, Iterable
from datetime import timedelta
from pathlib import Path
from typing import Any

from flask import Flask
from sqlalchemy import Engine

#: Where a vehicle's own pages hang, by its name; a number behind a tilde names an earlier log of it.
VEHICLE = "/vehicle/"


def create_site(engine: Engine, *, names: Iterable[str] = (), secure: bool = False, identity_header: str | None = None,
                proxy: str | None = None) -> Callable[..., Any]:
    """The fleet's site, as a WSGI application.

    engine : the collection, of the present shape; names : what the server is called, beside its own name
    secure : it is reached over TLS only, so the session's cookie must not go another way
    identity_header : header in which a reverse proxy says who asks; believed from proxy alone
    proxy : the proxy's address in numbers

    Raises
    ------
    ValueError : a header is to be believed from anybody
    """
    from dashboard.fleet import door, site

    if (identity_header is None) != (proxy is None):
        raise ValueError("who asks can be believed from a proxy at one address only: give the header and the proxy's address, or neither")
    return site.Site(engine, door.Settings(tuple(names), secure, identity_header, proxy))


def flask_of(name: str, engine: Engine, key: bytes, secure: bool) -> Flask:
    """An application of the site, with the session that all of them share.

    name: of its package; engine: the collection; key: that signs sessions; secure: over TLS only.
    """
    app = Flask(name, static_folder=None, template_folder=str(Path(__file__).parent / "templates"))
    share(app, key, secure)
    app.config.update(ENGINE=engine, MAX_CONTENT_LENGTH=1024 * 1024, MAX_FORM_PARTS=30)
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    return app


def share(app: Flask, key: bytes, secure: bool) -> None:
    """The session that all applications of the site share.

    app: one of them; key: that signs sessions; secure: over TLS only.
    """
    app.config.update(SECRET_KEY=key, SESSION_COOKIE_NAME="ampledger-fleet", SESSION_COOKIE_HTTPONLY=True, SESSION_COOKIE_PATH="/",
                      SESSION_COOKIE_SAMESITE="Strict", SESSION_COOKIE_SECURE=secure, PERMANENT_SESSION_LIFETIME=timedelta(days=30),
                      SESSION_REFRESH_EACH_REQUEST=False)
