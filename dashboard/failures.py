"""How the dashboard answers when something is wrong: always in words, as JSON where JSON was asked for."""
from flask import Flask, jsonify, render_template, request
from werkzeug.exceptions import HTTPException

from dashboard.log_view import NoLogView

TEXTS = {404: "There is no such page.", 405: "This cannot be done here.", 413: "That was too long.",
         500: "Something in the dashboard went wrong; the journal says what."}


def install(app: Flask) -> None:
    """Give app its answers for failures."""
    app.register_error_handler(NoLogView, _no_book)
    app.register_error_handler(HTTPException, _answer_error)


def _no_book(error: NoLogView):
    if request.path.startswith("/api/"):
        return jsonify(title=error.heading, detail=error.text, todo=list(error.todo)), 503
    return render_template("words.html", title="No log", heading=error.heading, text=error.text, todo=error.todo), 503


def _answer_error(error: HTTPException):
    code = error.code or 500
    text = error.description if code == 400 and error.description else TEXTS.get(code, error.name)
    more = {name: value for name, value in error.get_headers() if name in ("Allow", "Retry-After")}
    if request.path.startswith("/api/"):
        return jsonify(title=error.name, detail=text), code, more
    return render_template("words.html", title=error.name, heading=text,
                           text="Use the menu."), code, more
