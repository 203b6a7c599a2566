"""Page Board: copies, card, clock, messages; the clock is set and a test message sent from here."""
import sqlite3
from typing import Any

from flask import current_app, render_template

from dashboard import actions, guard
from dashboard import log_view as books
from dashboard.jobs.asking import describe_asking
from dashboard.jobs.blueprint import jobs
from monitor.reporting.board_health import inspect_board
from monitor.reporting.health_row import HealthRow

#: What an alert channel is called on the page.
CHANNELS = {"journal": "the journal of this board", "command": "your command", "services": "services of the Apprise library",
            "topic": "the topic of an MQTT broker"}


@jobs.get("/board")
def board() -> str:
    """How the board is, the worst first."""
    book = books.open_log_view()
    rows: list[HealthRow] = []
    if book.now is not None:
        try:
            rows = inspect_board(current_app.config["DATABASE"], book.when)
        except (sqlite3.Error, OSError) as error:
            rows = [HealthRow("Log", "wrong", f"{error}", "`ampledger doctor` looks it over.")]
    rank = {"wrong": 0, "look": 1, "ok": 2}
    rows.sort(key=lambda row: rank[row.verdict])
    wrong, look = (sum(row.verdict == verdict for row in rows) for verdict in ("wrong", "look"))
    lead = "Nothing is known of the board yet." if not rows else "The board is well." if not wrong + look else (
        f"{wrong + look} {'thing needs' if wrong + look == 1 else 'things need'} attention.")
    trusted = bool(book.now and book.now.utc_trusted)
    return render_template("board.html", title="Board", page="board", book=book, rows=rows, lead=lead, trusted=trusted,
                           words={"wrong": "Wrong", "look": "Look", "ok": "ok"}, channels=[CHANNELS.get(n, n) for n in book.channels],
                           wrong="", **describe_asking(book, "board", "clock"))


@jobs.post("/board/test-message")
@guard.own_form
def send_test_message() -> Any:
    """Leaves word that a test message is to go out."""
    return actions.leave("test_alerts", {}, to="board")
