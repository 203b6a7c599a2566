"""The seven pages: each takes the book, picks its figures and hands them to its template."""
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

from flask import Blueprint, current_app, redirect, render_template, request, url_for
from markupsafe import Markup

from dashboard import about_page, entries, figures, guard, health_page, life_rows, log_page, night_page, picture
from dashboard import log_view as books
from dashboard.charts import Figure
from dashboard.words import AlertLine, alert_line, clock_text, current_words, reading
from monitor.reporting import alert_view, answers, load_words, sentences
from monitor.reporting.sentences import number

pages = Blueprint("pages", __name__)
#: How often the page Now asks again [s].
REFRESH_S = 10
#: What was done, said on the page that it leads back to.
NOTED = {"left": "Noted. It takes effect with the next minute of the log.", "done": "Done."}
ABOUT_NOTED = {**NOTED, "out": "Signed out."}
#: So many of the owner's entries are listed on the page About (choice: a screen or two).
MOST_ENTRIES = 30
#: The evening's alert; the page Now answers it in its own line.
TONIGHT_KIND = "house_reserve_forecast"
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
        acts=answers.acts(book.findings.forecast),
        starter_headline=answers.starter_headline(book.findings.starter, book.findings.join, book.findings.conditions),
        load_rows=load_words.table(book.findings.named),
        took=load_words.headline(book.findings.named, None if book.findings.counts.because else book.findings.counts.today.spent_ah),
        alerts=[line for line in _open_lines(book) if not line.gone and line.kind != TONIGHT_KIND],
        gone=sum(line.gone for line in _open_lines(book)),
        house_readings=[row for row in house if row], starter_readings=[row for row in starter if row],
        starter_state=_starter_state(book.findings))


@pages.get("/tonight")
def tonight():
    """The coming 36 hours."""
    book = books.open_log_view()
    if book.findings is None:
        return _blank(book, "tonight", "Tonight")
    found = book.findings
    return render_template("tonight.html", title="Tonight", page="tonight", book=book, f=found,
                           until_full=answers.until_full(found.forecast, found.charge, found.loads.drive_charge_a, book.issued_hour),
                           drawn=_picture(figures.draw_tonight(book, picture.INKS)),
                           **night_page.build_night(book))


@pages.get("/log")
def log():
    """Any span of the log."""
    book = books.open_log_view()
    if book.findings is None:
        return _blank(book, "log", "Log")
    built = log_page.build_log(book, request.args)
    start, end = built["span"]
    figure = figures.draw_log(book, start, end, figures.POINTS, picture.INKS)
    return render_template("log.html", title="Log", page="log", book=book, drawn=picture.draw(figure), f=book.findings,
                           load_rows=load_words.table(book.findings.named), **built)


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
        drawn=picture.draw(figures.draw_starter(book, figures.POINTS, picture.INKS)),
        starter_state=_starter_state(book.findings),
        starts=[_start(e) for e in reversed(starts)],
        will_not_start=bool(alarms & {"will_not_start", "start_failed", "starter_under_voltage"}))


@pages.get("/alerts")
def alerts():
    """Open alerts with their four parts, and those that closed."""
    book = books.open_log_view()
    lines = _open_lines(book)
    closed = _once([alert_line(a, book.at_s, book.when) for a in book.alerts() if not a.what.open])
    count = sum(not line.gone for line in lines)
    lead = "Nothing is wrong now." if not count else (
        "One alert needs attention." if count == 1 else f"{count} alerts need attention.")
    if len(lines) > count:
        gone = len(lines) - count
        lead += " One earlier alert cleared by itself." if gone == 1 else (
            f" {gone} earlier alerts cleared by themselves.")
    return render_template(
        "alerts.html", title="Alerts", page="alerts", book=book, lead=lead, open=lines,
        gone=[line for line in lines if line.gone], closed=closed,
        may_change=guard.may_change(), has_code=current_app.config["CODE_HASH"] is not None,
        noted=NOTED.get(request.args.get("told", "")), undoable=entries.undoable())


@pages.get("/health")
def health():
    """What the batteries can still do, against their labels."""
    book = books.open_log_view()
    if book.findings is None:
        return _blank(book, "health", "Health")
    return render_template("health.html", title="Health", page="health", book=book, f=book.findings,
                           drawn=_picture(figures.draw_health(book, picture.INKS)), life=life_rows.describe_life(book),
                           **health_page.build_health(book))


@pages.get("/about")
def about():
    """Where the figures come from and how far the log itself can be trusted."""
    book = books.open_log_view()
    return render_template("about.html", title="About", page="about", book=book, lead=about_page.lead(book),
                           chapters=about_page.chapters(book), ask_clock=book.unsure and book.on_board,
                           doubted=any(a.what.kind == "clock_doubtful" and a.what.state != "returned" for a in book.open_alerts),
                           may_change=guard.may_change(),
                           has_code=current_app.config["CODE_HASH"] is not None, noted=ABOUT_NOTED.get(request.args.get("told", "")),
                           undoable=entries.undoable(), entries=entries.list_entries(book.entries[:MOST_ENTRIES]),
                           signed_in=guard.signed_in())


@pages.get("/now")
def to_now():
    """The page Now by its name."""
    return redirect(url_for("pages.now"))


def _picture(figure: Figure | None) -> Markup:
    return Markup("") if figure is None else picture.draw(figure)


def _start(logged) -> tuple[str, str, str]:
    """One start as (when, lowest voltage, verdict)."""
    verdict, colon, _ = logged.what.message.partition(":")
    lowest_v = dict(logged.what.figures).get("lowest_v")
    return (clock_text(logged.at_utc_s), "" if lowest_v is None else f"{number(lowest_v, 1)} V",
            verdict if colon else logged.what.message)


def _starter_state(found) -> str:
    return {"open": "separate from house", "closed": "connected to house"}.get(found.join.isolator, "")


def _open_lines(book) -> list[AlertLine]:
    """Open alerts as lines: those still there first, causes before what follows from them."""
    lines = [alert_line(a, book.at_s, book.when) for a in book.open_alerts]
    return [*alert_view.in_order([line for line in lines if not line.gone]), *(line for line in lines if line.gone)]


def _once(lines: Sequence[AlertLine]) -> list[AlertLine]:
    """The latest of each cause, with how often it came."""
    counts = Counter((line.kind, line.battery) for line in lines)
    latest: dict[tuple[str, str], AlertLine] = {}
    for line in lines:
        latest.setdefault((line.kind, line.battery), line)
    return [replace(line, times=alert_view.times_words(counts[key])) for key, line in latest.items()]


def _blank(book, page: str, title: str):
    if not book.on_board and not book.empty:
        return render_template(
            "words.html", title=title, page=page, book=book, heading="The latest figures cannot be read.",
            text="They were written by another version of ampledger than this one. What came before is kept. If this page stays so:",
            todo=("Let board and collector have the same version",))
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
