"""The few things a page can ask for: acknowledge an alert, put it aside, set the clock, undo any of it, sign in with the code."""
import time

from flask import Blueprint, abort, current_app, redirect, render_template, request, url_for

from dashboard import guard, log_view
from monitor.reporting.sentences import capitalise, sentence
from monitor.store import answers, requests

actions = Blueprint("actions", __name__)
#: An alert may be put aside for at most this long [h].
LONGEST_HOURS = 7 * 24
#: A phone keeps its time by its network; one standard deviation of that and of the way here [s].
PHONE_SIGMA_S = 2.0
#: Requests left by one press; more wait for the next.
MOST_AT_ONCE = 50
#: Pages that ask for something, by the name that their forms carry: where the answer leads back to.
BACK = {"alerts": "pages.alerts", "about": "pages.about", "battery": "jobs.battery", "instruments": "jobs.instruments",
        "capacity-test": "jobs.capacity_test", "loads": "jobs.loads", "board": "jobs.board"}
#: So long a page waits for the daemon's answer, which looks for requests once a beat [s] (choice: a page may not seem stuck).
WAIT_S = 3.0


@actions.post("/alerts/<int:alert>/acknowledge")
@guard.own_form
def acknowledge(alert: int):
    """Leave word for the daemon that someone has seen it."""
    return leave("acknowledge", {"alert": alert})


@actions.post("/alerts/acknowledge-gone")
@guard.own_form
def acknowledge_gone():
    """Leave word that all alerts that went away by themselves have been seen."""
    gone = [a.what.id for a in log_view.open_log_view().open_alerts if a.what.state == "returned"]
    return leave("acknowledge", *({"alert": number} for number in gone[:MOST_AT_ONCE]))


@actions.post("/alerts/<int:alert>/shelve")
@guard.own_form
def shelve(alert: int):
    """Leave word for the daemon to keep quiet about it for some hours."""
    hours = request.form.get("hours", "", type=str)
    if not (hours.isascii() and hours.isdecimal()) or not 1 <= int(hours) <= LONGEST_HOURS:
        abort(400, f"The reminder can come in 1 to {LONGEST_HOURS} hours, not in {hours!r:.20}.")
    return leave("shelve", {"alert": alert, "for_s": 3600.0 * int(hours)})


@actions.post("/clock")
@guard.own_form
def set_clock():
    """Leave word for the daemon what time it is by the phone that shows the page."""
    told = request.form.get("utc_ms", "")
    if not (told.isascii() and told.isdecimal()) or not 1.7e12 < int(told[:20]) < 5e12:
        abort(400, "The phone did not say what time it has; the button needs JavaScript and a clock that is set.")
    return leave("set_clock", {"utc_s": int(told) / 1000, "sigma_s": PHONE_SIGMA_S, "sure": int(request.form.get("sure") == "1"),
                               "asked_boot_s": time.clock_gettime(time.CLOCK_BOOTTIME)}, to=_name(request.form.get("to"), "about"))


@actions.post("/entries/<int:number>/undo")
@guard.own_form
def undo(number: int):
    """Leave word for the daemon to undo an entry."""
    return leave("undo", {"entry": number}, to=_name(request.form.get("to"), "alerts"))


@actions.route("/code", methods=["GET", "POST"])
def code():
    """Ask for the code, and check it."""
    return _enter_code() if request.method == "POST" else render_template("code.html", title="Code", to=_name(request.args.get("to")))


@actions.post("/sign-out")
@guard.own_form
def sign_out():
    """Forget the code that this browser gave, or every browser; whoever may, is asked to be signed in for the second."""
    everywhere = request.form.get("everywhere") == "1" and guard.signed_in()
    guard.sign_out(everywhere)
    return redirect(url_for("pages.about", told="out"), 303)


@guard.own_form
def _enter_code():
    wrong = guard.try_code(request.form.get("code", ""))
    if wrong:
        return render_template("code.html", title="Code", wrong=wrong, to=_name(request.args.get("to"))), 403
    return redirect(url_for(BACK[_name(request.args.get("to"), "alerts")]), 303)


def _name(given: str | None, usual: str = "alerts") -> str:
    """The page that a form or an address names, else the usual one."""
    return given if given in BACK else usual


def leave(kind: str, *asked: dict, to: str = "alerts"):
    """Leaves requests of one kind at the daemon's door, waits a moment for its answer, and leads back to a page (BACK).

    kind : as in `requests.KINDS`; asked : the values of each; to : name of the page that asks
    """
    if not guard.may_change():
        if current_app.config["CODE_HASH"] is None:
            return _words("Changing anything from another machine needs a code, and none is set. On the board, run "
                          "`ampledger code` and put its line into the configuration."), 403
        return render_template("code.html", title="Code", wrong="Nothing was changed yet.", to=to), 403
    doors = current_app.config["DOORS"]
    if doors is None:
        return _words("This dashboard was started for reading only: it has no folder to leave requests in."), 403
    alone = len(asked) == 1
    try:
        left = [requests.ask(doors(), kind, by=guard.origin(request.remote_addr or "?"), waits=alone, **values) for values in asked]
    except ValueError as error:
        return _words(sentence(error)), 400
    except OSError as error:
        return _words(f"The request could not be left in {doors()[-1]}: {error.strerror}. "
                      "See that the folder exists and that the dashboard's user may write it."), 503
    answer = answers.wait_for(left[0], WAIT_S) if alone else None
    if answer is None:
        if alone:
            requests.keep(left[0], doors())
        return redirect(url_for(BACK[to], told="left"), 303)
    if not answer.done:
        return _words(capitalise(answer.said)), 409
    return redirect(url_for(BACK[to], told="done", entry=answer.entry), 303)


def _words(text: str) -> str:
    return render_template("words.html", title="Not done", heading="Nothing was changed.", text=text)
