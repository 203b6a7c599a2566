"""python -m dashboard.setup_pages: the questions of set-up on a phone. These pages only ask; set-up itself does the rest."""
import secrets
import sys
from datetime import timedelta
from pathlib import Path

import click
from flask import Blueprint, Flask, current_app, jsonify, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from dashboard import failures, files, guard, server
from dashboard.__main__ import hash_in, split
from dashboard.setup_words import LABELS, QUESTIONS, Question
from monitor.commissioning.shared_folder import leave_answer, read_state

questions = Blueprint("questions", __name__)
KINDS = (("flooded", "flooded: liquid acid, with caps or closed"), ("agm", "AGM: acid in a glass mat, no caps"), ("gel", "gel"),
         ("lfp", "lithium iron phosphate (LiFePO4)"))


@questions.get("/")
def question() -> str:
    """The question that is put now, or what is being done."""
    state = _state()
    if state is None:
        return render_template("words.html", title="Set-up", heading="Set-up has ended.", text="Nothing more is asked here.",
                               todo=("Begin it again on the board: sudo ampledger setup --phone",))
    words = QUESTIONS.get(str(state["key"]), Question(str(state["key"]), str(state.get("words", ""))))
    kind, _, capacity_ah = str(state.get("default", "")).partition(" ")
    return render_template("setup.html", title="Set-up", state=state, q=words, kinds=KINDS, kind=kind, capacity_ah=capacity_ah,
                           labels=LABELS)


@questions.post("/answer")
@guard.own_form
def answer() -> Response | tuple[str, int]:
    """Leaves an answer for set-up."""
    number = request.form.get("number", 0, int)
    text = request.form.get("text", "")
    if "kind" in request.form:
        text = f"{request.form['kind']} {request.form.get('capacity_ah', '').strip()}"
    try:
        leave_answer(current_app.config["FOLDER"], number, text)
    except OSError as error:
        return render_template("words.html", title="Not done", heading="The answer could not be left.", text=f"{error.strerror}."), 503
    return redirect(url_for("questions.question", left=number), 303)


@questions.get("/state")
def state() -> Response:
    """What the page shows that changes by itself: the question's number, whether it is being measured, live readings."""
    state = _state() or {"number": -1}
    return jsonify(number=state["number"], busy=state.get("busy", False),
                   live=[(LABELS.get(name, name), shown) for name, shown in state.get("live", [])])


@questions.route("/code", methods=["GET", "POST"])
def code() -> Response | str | tuple[str, int]:
    """Asks for the access code that the board printed, and checks it."""
    return _enter_code() if request.method == "POST" else render_template("setup_code.html", title="Access code")


@guard.own_form
def _enter_code() -> Response | tuple[str, int]:
    wrong = guard.try_code(request.form.get("code", ""))
    if wrong:
        return render_template("setup_code.html", title="Access code", wrong=wrong), 403
    return redirect(url_for("questions.question"), 303)


def _state() -> dict | None:
    return read_state(current_app.config["FOLDER"])


def create_app(folder: Path, code_hash: str) -> Flask:
    """The pages over the folder that set-up shares; everything needs the code."""
    app = Flask(__name__, static_folder=None)
    app.config.update(
        FOLDER=folder, CODE_HASH=code_hash, CODE_TO_READ=True, SECRET_KEY=secrets.token_bytes(32), CODE_MARK=secrets.token_hex(8),
        SESSION_COOKIE_NAME="ampledger_setup", SESSION_COOKIE_HTTPONLY=True, SESSION_COOKIE_SAMESITE="Strict",
        PERMANENT_SESSION_LIFETIME=timedelta(hours=12), MAX_CONTENT_LENGTH=8 * 1024, MAX_FORM_PARTS=10)
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.jinja_env.globals.update(address=files.address, form_token=guard.form_token, setting_up=True, on_board=True)
    guard.install(app, (), code_page="setup_code.html", open_endpoints=("questions.code", "files.file"))
    failures.install(app)
    app.register_blueprint(files.files)
    app.register_blueprint(questions)
    return app


@click.command()
@click.option("--folder", required=True, type=click.Path(path_type=Path, file_okay=False, exists=True),
              help="What set-up shares with the pages.")
@click.option("--address", default="0.0.0.0:21873", show_default=True, help="Where to listen.")
@click.option("--code-file", required=True, type=click.Path(path_type=Path, dir_okay=False, exists=True),
              help="The hash of the access code.")
def main(folder: Path, address: str, code_file: Path) -> None:
    """Serve the questions of a set-up that is running on this board."""
    host, port = split(address)
    try:
        server.serve(create_app(folder, hash_in(code_file)), host, port)
    except OSError as error:
        raise click.ClickException(f"cannot listen on {address}: {error.strerror}; do the pages run there already? "
                                   "systemctl stop ampledger-dashboard, or another --port") from error


if __name__ == "__main__":
    sys.exit(main())
