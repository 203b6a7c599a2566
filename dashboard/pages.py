"""The seven pages: each takes the book, picks its figures and hands them to its template."""
from flask import Blueprint, current_app, redirect, render_template, request, url_for

from dashboard import about_page, guard, health_page, log_page, night_page
from dashboard import log_view as books
from dashboard.words import AlertLine, alert_line, clock_text, current_words, reading
from monitor.reporting import sentences

pages = Blueprint("pages", __name__)
#: How often the page Now asks again [s].
REFRESH_S = 10
#: What was done, said on the page that it leads back to.
TOLD = {"left": "Noted. It takes effect with the next minute of the log.", "done": "Done."}
ABOUT_TOLD = {**TOLD, "out": "Signed out."}
#: Starts are looked for so far back [s], under these names of events.
STARTS_S = 90 * 86400.0
START_KINDS = ("start", "engine_start", "crank", "crank_weak", "start_failed")


@pages.get("/")
def now():
    """Both batteries, what flows, tonight in a sentence, open alerts."""
    book = books.open_log_view()
    if book.findings is None:
        return _blank(book, "now", "Now")
    latest = book.latest
    house = (reading("Voltage", latest.house_voltage_v, "V", 2), current_words(latest.house_current_a),
             reading("Temperature", latest.house_temperature_c, "°C", 0))
    starter = (reading("Voltage now", latest.starter_voltage_v, "V", 2),
               reading("Temperature", latest.starter_temperature_c, "°C", 0))
    return render_template(
        "now.html", title="Now", page="now", book=book, f=book.findings, refresh_s=REFRESH_S,
        stage=sentences.STAGE_WORDS.get(book.findings.charge.charging_stage, ""),
        alerts=[line for line in _open_lines(book) if not line.gone], gone=sum(line.gone for line in _open_lines(book)),
        house_readings=[row for row in house if row], starter_readings=[row for row in starter if row],
        starter_state=_starter_state(book.findings))


@pages.get("/tonight")
def tonight():
    """The coming 36 hours."""
    book = books.open_log_view()
    if book.findings is None:
        return _blank(book, "tonight", "Tonight")
    return render_template("tonight.html", title="Tonight", page="tonight", book=book, f=book.findings,
                           **night_page.build_night(book))


@pages.get("/log")
def log():
    """Any span of the log."""
    book = books.open_log_view()
    if book.findings is None:
        return _blank(book, "log", "Log")
    return render_template("log.html", title="Log", page="log", book=book, **log_page.build_log(book, request.args))


@pages.get("/starter")
def starter():
    """The starter battery, its connection and the last starts."""
    book = books.open_log_view()
    if book.findings is None:
        return _blank(book, "starter", "Starter")
    alarms = {a.what.kind for a in book.open_alerts if a.what.state != "returned"}
    now_utc_s = book.known.utc_s
    starts = [e for e in book.events(now_utc_s - STARTS_S, now_utc_s) if e.what.kind in START_KINDS][-6:]
    return render_template(
        "starter.html", title="Starter", page="starter", book=book, f=book.findings,
        starter_state=_starter_state(book.findings),
        starts=[(clock_text(e.at_utc_s), e.what.message) for e in reversed(starts)],
        will_not_start=bool(alarms & {"will_not_start", "start_failed", "starter_under_voltage"}))


@pages.get("/alerts")
def alerts():
    """Open alerts with their four parts, and those that closed."""
    book = books.open_log_view()
    lines = _open_lines(book)
    closed = [alert_line(a, book.at_s, book.when) for a in book.alerts() if not a.what.open][:60]
    count = sum(not line.gone for line in lines)
    lead = "Nothing is wrong just now." if not count else (
        "One thing asks for a look." if count == 1 else f"{count} things ask for a look.")
    if len(lines) > count:
        gone = len(lines) - count
        lead += " One went away before anyone marked it as seen." if gone == 1 else (
            f" {gone} went away before anyone marked them as seen.")
    return render_template(
        "alerts.html", title="Alerts", page="alerts", book=book, lead=lead, open=lines,
        gone=[line for line in lines if line.gone], closed=closed,
        may_change=guard.may_change(), has_code=current_app.config["CODE_HASH"] is not None,
        told=TOLD.get(request.args.get("told", "")), undoable=_undoable())


@pages.get("/health")
def health():
    """What the batteries can still do, against their labels."""
    book = books.open_log_view()
    if book.findings is None:
        return _blank(book, "health", "Health")
    return render_template("health.html", title="Health", page="health", book=book, f=book.findings,
                           **health_page.build_health(book))


@pages.get("/about")
def about():
    """Where the figures come from and how far the log itself can be trusted."""
    book = books.open_log_view()
    return render_template("about.html", title="About", page="about", book=book, lead=about_page.lead(book),
                           chapters=about_page.chapters(book), ask_clock=book.unsure,
                           doubted=any(a.what.kind == "clock_doubtful" and a.what.state != "returned" for a in book.open_alerts),
                           may_change=guard.may_change(),
                           has_code=current_app.config["CODE_HASH"] is not None, told=ABOUT_TOLD.get(request.args.get("told", "")),
                           undoable=_undoable(), entries=about_page.list_entries(book), signed_in=guard.signed_in())


@pages.get("/now")
def to_now():
    """The page Now by its name."""
    return redirect(url_for("pages.now"))


def _undoable() -> int | None:
    """Number of the entry that was just made and that the page offers to undo."""
    number = request.args.get("entry", "")
    return int(number) if number.isascii() and number.isdecimal() and len(number) < 10 else None


def _starter_state(found) -> str:
    return {"open": "stands alone", "closed": "joined to the house battery"}.get(found.join.isolator, "")


def _open_lines(book) -> list[AlertLine]:
    """Open alerts as lines, those still there first."""
    return sorted((alert_line(a, book.at_s, book.when) for a in book.open_alerts), key=lambda line: line.gone)


def _blank(book, page: str, title: str):
    if not book.empty:
        return render_template(
            "words.html", title=title, page=page, book=book, heading="The latest figures cannot be read.",
            text="They were written by another version of ampledger, or are damaged. The monitor writes new ones "
                 "every minute; the log itself is not touched. If this page stays so:",
            todo=("See whether the monitor runs: systemctl status ampledger",
                  "Let the log be looked over: ampledger doctor"))
    return render_template(
        "words.html", title=title, page=page, book=book, heading="The log is still empty.",
        text="The first figures appear within a minute of the first reading. If none come:", todo=(
            "See whether the monitor runs: systemctl status ampledger",
            "Let it read every sensor once and say what is wrong: ampledger check"))
