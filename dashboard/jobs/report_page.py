"""Page Report: make one about the house battery, open it, print it, take it along."""
from datetime import date
from pathlib import Path
from typing import Any

from flask import Response, abort, current_app, g, redirect, render_template, request, url_for

from dashboard import guard
from dashboard import log_view as books
from dashboard.jobs.blueprint import jobs
from dashboard.jobs.waiting import background, number_of, stage_of, tell_stage, working_page
from dashboard.words import clock_text

MODULE = "dashboard.printed"
#: The report carries its script and drawings inside; a sandbox of its own keeps it away from everything of this board.
POLICY = ("default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; img-src data: blob:; font-src data:; "
          "sandbox allow-scripts allow-modals allow-downloads; frame-ancestors 'none'")


@jobs.get("/report")
def report() -> str:
    """What it holds, the button, and those that are kept."""
    return _page()


@jobs.post("/report")
@guard.own_form
def make_report() -> Any:
    """Begins to make one."""
    book = books.open_log_view()
    if book.now is None:
        return _page("The log is still empty; come back after the first minutes."), 400
    name = number_of(f"{MODULE} {book.now.utc_s:.0f}")
    if not background().start(name, _file(name), MODULE, ["--database", str(current_app.config["DATABASE"])]):
        return _page("Something else is being worked out just now. Wait until it is done, a minute or so."), 503
    return redirect(url_for("jobs.report_made", name=name), 303)


@jobs.get("/report/<name>")
def report_made(name: str) -> Any:
    """How far it is, or what to do with it."""
    stage = stage_of(name, _file(name))
    if stage.file is None:
        return working_page("Report", "report", name, stage,
                            "The board gathers verdict, evidence, weeks and nights, and replays the log with other set-ups.")
    return render_template("report.html", title="Report", page="report", book=books.open_log_view(),
                           made=_describe(name, stage.file), kept=[], wrong="")


@jobs.get("/report/<name>/state")
def report_state(name: str) -> Response:
    """How far it is, for the page that waits."""
    return tell_stage(stage_of(name, _file(name)))


@jobs.get("/report/<name>/house-battery.html")
def report_file(name: str) -> Response:
    """The report itself; with save=1 to be kept as a file."""
    stage = stage_of(name, _file(name))
    if stage.file is None:
        abort(404)
    g.policy = POLICY
    answer = Response(stage.file.read_bytes(), mimetype="text/html")
    if request.args.get("save") == "1":
        day = date.fromtimestamp(stage.file.stat().st_mtime).isoformat()
        answer.headers["Content-Disposition"] = f'attachment; filename="house-battery-{day}.html"'
    return answer


def _page(wrong: str = "") -> str:
    kept = [_describe(name, file) for name, file in background().list_results("report")]
    return render_template("report.html", title="Report", page="report", book=books.open_log_view(), made=None, kept=kept, wrong=wrong)


def _describe(name: str, file: Path) -> tuple[str, str, str]:
    state = file.stat()
    return name, clock_text(state.st_mtime, "%-d %b %Y, %H:%M"), f"{state.st_size / 1e6:.1f} MB"


def _file(name: str) -> str:
    return f"report-{name}.html"
