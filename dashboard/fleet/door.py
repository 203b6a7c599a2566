"""Who asks, and what they may: a person signed in with a code, or named by a reverse proxy at one known address."""
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any

from flask import Flask, Response, current_app, g, redirect, render_template, request, session, url_for
from sqlalchemy import Engine

from dashboard import guard
from monitor.fleet import people
from monitor.fleet.people import Role


@dataclass(frozen=True, slots=True)
class Settings:
    """names: what the server is called beside its own; identity_header is believed from proxy alone."""

    names: tuple[str, ...] = ()
    secure: bool = False
    identity_header: str | None = None
    proxy: str | None = None


def install(app: Flask, engine: Engine, settings: Settings, sign_in: str) -> None:
    """Has every page of app ask who it is for, first thing.

    app: of the site; engine: the collection; settings: of the door; sign_in: path of the page that asks for name and code.
    """
    app.config["DOOR"] = settings

    @app.before_request
    def who_asks() -> Any:
        g.person, g.role = _person(engine, settings)
        known = g.role is not None or request.endpoint in ("fleet.sign_in", "files.file")
        return None if known else redirect(sign_in, 303)

    app.jinja_env.globals.update(may=lambda least: people.may(g.get("role"), least), person=lambda: g.get("person", ""))


def _person(engine: Engine, settings: Settings) -> tuple[str, Role | None]:
    name = session.get("person", "")
    if settings.identity_header is not None and request.remote_addr == settings.proxy:
        name = request.headers.get(settings.identity_header, "").strip() or name
    if not name:
        return "", None
    with engine.connect() as connection:
        return name, people.role_of(connection, name)


def needs(least: Role) -> Callable:
    """Lets only those through whose role is enough, and a POST only from one of our own forms."""

    def around(view: Callable) -> Callable:
        @wraps(view)
        @guard.own_form
        def check_role(*args: Any, **kwargs: Any) -> Any:
            if not people.may(g.role, least):
                return render_template("words.html", title="Not done", heading="Nothing was changed.",
                                       text=f"{g.person} may not do this; it needs the role “{least}”. Who administers the fleet gives "
                                            f"it with `ampledger fleet person NAME --role {least}`."), 403
            return view(*args, **kwargs)

        return check_role

    return around


def enter(name: str, code: str) -> str:
    """Signs the browser in; returns "" or why not. Wrong codes make an address wait."""
    lockout: guard.Lockout = current_app.extensions["lockout"]
    address = guard.origin(request.remote_addr or "?")
    if (wait := lockout.wait_s(address)) > 0:
        return f"Too many wrong codes. Try again in {max(wait / 60, 1):.0f} min."
    with current_app.config["ENGINE"].connect() as connection:
        right = len(name) <= 60 and len(code) <= 200 and people.is_right(connection, name, code)
    if not right:
        lockout.wrong(address)
        return "That is not a name and its code."
    lockout.right(address)
    session.clear()
    session["person"], session.permanent = name, True
    return ""


def leave() -> Response:
    """Signs the browser out."""
    session.clear()
    return redirect(url_for("fleet.sign_in"), 303)  # type: ignore[return-value]
