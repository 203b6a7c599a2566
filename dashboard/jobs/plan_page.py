"""Page Plan: which battery, panel and charging for which trip, before there is a log; systems side by side and a sheet to print."""
import json
import time
from dataclasses import asdict
from typing import Any
from urllib.parse import urlencode

from flask import Response as FlaskResponse
from flask import abort, current_app, redirect, render_template, request, url_for
from markupsafe import Markup

from dashboard import guard
from dashboard import log_view as books
from dashboard.jobs.asking import read_number
from dashboard.jobs.blueprint import jobs
from dashboard.jobs.pictures import Mark, draw_ranges
from dashboard.jobs.waiting import background, kept_answers, number_of, stage_of, tell_stage, working_page
from dashboard.words import clock_text
from monitor.planning import plan_request
from monitor.planning.climate.places import MONTHS
from monitor.planning.load_catalogue import FRIDGES, catalogue
from monitor.planning.plan_request import PlanRequest
from monitor.reporting import plan_words
from monitor.reporting.sentences import number, sentence

MODULE = "dashboard.jobs.plan_work"
#: value -> words of the fridges that a form offers.
COLD = {"": "none", "fridge,volume=35": "box, 35 litres", "fridge,volume=45": "box, 45 litres", "fridge,volume=65": "box, 65 litres",
        "fridge,volume=90": "box, 90 litres", "upright,volume=80": "upright, 80 litres", "upright,volume=130": "upright, 130 litres",
        "freezer,volume=40": "freezer, 40 litres"}
#: Loads whose name alone says too little.
WORDS = {"satellite": "satellite internet", "breathing": "breathing aid", "blanket": "electric blanket", "coffee": "electric kettle",
         "cooking": "induction plate", "bicycle": "electric bicycle", "board": "this board", "heater": "air heater", "fan": "roof fan"}
USUAL_COLD, USUAL_LOADS = "fridge,volume=45", ("lights", "laptop", "phone", "pump")
DRIVEN = ("0", "0.5", "1", "1.5", "2", "3", "4", "6")
STANDING = ("0", "1", "2", "3", "4", "6", "9", "13")
#: Fields of plain text, and how much of each is read.
TEXTS = {"place": 60, "first": 2, "last": 2, "cold": 24, "drive": 4, "standing": 2, "own": 120, "system_a": 100, "system_b": 100,
         "system_c": 100, "panel": 6, "short": 5, "shore": 3, "sun": 120, "air": 120}
#: Days of the log whose loads are taken; fewer say too little.
LOG_DAYS, LEAST_DAYS = 60, 7


@jobs.get("/plan")
def plan():
    """The form, and the answers that are kept."""
    given = {name: request.args.get(name, "")[:most] for name, most in TEXTS.items()}
    search, log = bool(request.args.get("search")), bool(request.args.get("log"))
    return _form(given, request.args.getlist("load"), search, log, fresh=not request.args)


@jobs.post("/plan")
@guard.own_form
def ask_plan():
    """Begins to work it out."""
    given = {name: request.form.get(name, "").strip()[:most] for name, most in TEXTS.items()}
    chosen, search, log = request.form.getlist("load"), bool(request.form.get("search")), bool(request.form.get("log"))
    try:
        wanted = _read(given, chosen, search, log)
        plan_request.check(wanted)
    except ValueError as error:
        return _form(given, chosen, search, log, sentence(error)), 400
    text = json.dumps(plan_request.as_data(wanted), sort_keys=True)
    book = books.open_log_view()
    stamp = str(int(book.now.utc_s // 3600)) if log and book.now is not None else ""
    name = number_of(MODULE, text, stamp)
    arguments = ["--database", str(current_app.config["DATABASE"]), "--request", text]
    if not background().start(name, _file(name), MODULE, arguments):
        return _form(given, chosen, search, log, "Another one is being worked out just now. Wait until it is done, a minute or so."), 503
    return redirect(url_for("jobs.plan_answer", name=name), 303)


@jobs.get("/plan/<name>")
def plan_answer(name: str):
    """An answer, or how far it is."""
    stage = stage_of(name, _file(name))
    if stage.file is None:
        return working_page("Plan", "plan", name, stage, "The board lives your trip with each system, forty times with weather, use and "
                                                         "luck drawn anew.")
    found = json.loads(stage.file.read_text(encoding="utf-8"))
    return render_template("plan.html", title="Plan", page="plan", book=books.open_log_view(), name=name, **describe(found))


@jobs.get("/plan/<name>/state")
def plan_state(name: str):
    """How far it is, for the page that waits."""
    return tell_stage(stage_of(name, _file(name)))


@jobs.get("/plan/<name>/sheet/<int:system>")
def plan_sheet(name: str, system: int):
    """The sheet of one system, to print."""
    stage = stage_of(name, _file(name))
    sheets = json.loads(stage.file.read_text(encoding="utf-8"))["sheets"] if stage.file is not None else []
    if system >= len(sheets):
        abort(404)
    return FlaskResponse(sheets[system], mimetype="text/html")


def describe(found: dict[str, Any]) -> dict[str, Any]:
    """What the template shows of an answer."""
    systems = found["systems"]

    def picture(heading: str, figure: str, most: float) -> tuple[str, Markup]:
        marks = [Mark(s["name"], s[figure]["value"], s[figure]["low"], s[figure]["high"]) for s in systems if s[figure]]
        return heading, draw_ranges(heading, marks, 0, most)

    pictures = [picture("Nights short, of 30", "nights_short_per_30", 30), picture("Weight, kg", "weight_kg", 1000),
                picture("Years it should live", "years", 20)]
    wanted = plan_request.read_request(found["request"])
    return {"lead": found["lead"], "trip": found["trip"], "best": found["best"],
            "made": clock_text(found["made_utc_s"], "%-d %b %Y, %H:%M"),
            "pictures": pictures, "rows": list(zip([s["name"] for s in systems], found["cells"], strict=True)),
            "headings": list(dict.fromkeys(h for cells in found["cells"] for h, _ in cells)), "sources": plan_words.SOURCES,
            "notes": [(s["name"], s["notes"]) for s in systems], "months": _months(systems), "climate": found["climate"],
            "loads": found["loads"], "again": f"{url_for('jobs.plan')}?{urlencode(_fields(wanted), doseq=True)}", "draws": found["draws"]}


def _months(systems: list[dict[str, Any]]) -> tuple[list[str], list[tuple[str, list[str]]]]:
    """Nights short by month: the months as they follow each other, and a row for each system; empty for a trip of one month."""
    there = [m for m in range(12) if systems[0]["short_by_month_per_30"][m] is not None]
    if len(there) < 2:
        return [], []
    # a winter is read from November on, not from January
    first = next((m for m in there if (m - 1) % 12 not in there), 0)
    there.sort(key=lambda m: (m - first) % 12)
    return ([MONTHS[m][:3] for m in there], [(s["name"], [number(round(s["short_by_month_per_30"][m])) for m in there]) for s in systems])


def _form(given: dict[str, str], chosen: list[str], search: bool, log: bool, wrong: str = "", fresh: bool = False):
    book = books.open_log_view()
    if fresh:
        vehicle = book.vehicle
        here = "" if vehicle is None or vehicle.latitude_deg is None or vehicle.longitude_deg is None else (
            f"{vehicle.latitude_deg:g},{vehicle.longitude_deg:g}")
        month = time.localtime(book.now.utc_s if book.now is not None else time.time()).tm_mon
        given = given | {"place": here, "first": str(month), "last": str((month + 1) % 12 + 1), "cold": USUAL_COLD,
                         "drive": "1.5", "standing": "2"}
        chosen = list(USUAL_LOADS)
    first, last = book.extent() if book.now is not None else (0.0, 0.0)
    kept = [(name, *picked) for name, picked in kept_answers(
        "plan", lambda answer: (clock_text(answer["made_utc_s"], "%-d %b, %H:%M"), answer["trip"], answer["lead"]))]
    return render_template(
        "plan_form.html", title="Plan", page="plan", book=book, given=given, chosen=chosen, search=search, log=log, wrong=wrong, kept=kept,
        months=list(enumerate(MONTHS, 1)), cold=COLD, driven=DRIVEN, standing=STANDING,
        loads=[(name, WORDS.get(name, name)) for name in catalogue() if name not in FRIDGES], has_log=last - first >= LEAST_DAYS * 86400,
        details=any(given[name] for name in ("system_a", "system_b", "system_c", "panel", "short", "shore", "sun", "air", "own")) or search)


def _read(given: dict[str, str], chosen: list[str], search: bool, log: bool) -> PlanRequest:
    """The request of a form.

    Raises
    ------
    ValueError : what cannot be, in one sentence
    """
    if not given["place"]:
        raise ValueError("name a place, as Lisbon, or its latitude and longitude, as 44.5,6.2")
    months = f"{given['first'] or '1'}-{given['last'] or given['first'] or '12'}"
    loads = ([given["cold"]] if given["cold"] else []) + [name for name in chosen if name in catalogue()]
    loads += [part.strip() for part in given["own"].split(";") if part.strip()]
    shore = read_number(given["shore"], "shore power", 1, 60)
    systems = tuple(text for text in (given["system_a"], given["system_b"], given["system_c"]) if text)
    return PlanRequest(
        ((given["place"], months),), tuple(loads), systems,
        "lightest" if search else "", read_number(given["short"], "nights short", 0.1, 50) or 2.0,
        _or(read_number(given["panel"], "room for panels", 0, 5000), 400.0),
        _or(read_number(given["drive"], "hours of driving", 0, 16), 1.5),
        int(_or(read_number(given["standing"], "days standing", 0, 90), 2)), shore_every_days=None if shore is None else int(shore),
        sun=plan_request.read_twelve(given["sun"], "sun"), air=plan_request.read_twelve(given["air"], "temperature"),
        log_days=LOG_DAYS if log else 0)


def _or(value: float | None, usual: float) -> float:
    return usual if value is None else value


def _fields(wanted: PlanRequest) -> dict[str, Any]:
    """The form's fields for a request."""
    place, months = wanted.legs[0]
    first, _, last = months.partition("-")
    cold = next((load for load in wanted.loads if load in COLD), "")
    own = [load for load in wanted.loads if load != cold and load not in catalogue()]
    found = asdict(wanted)
    systems = [*wanted.systems, "", "", ""]
    return {"place": place, "first": first, "last": last, "cold": cold, "drive": f"{wanted.drive_hours:g}",
            "standing": wanted.standing_days, "load": [load for load in wanted.loads if load in catalogue()], "own": "; ".join(own),
            "system_a": systems[0], "system_b": systems[1], "system_c": systems[2],
            "panel": f"{wanted.most_panel_w:g}" if wanted.most_panel_w != 400 else "",
            "short": f"{wanted.most_short_pct:g}" if wanted.most_short_pct != 2 else "", "shore": wanted.shore_every_days or "",
            "sun": ",".join(f"{x:g}" for x in found["sun"] or ()), "air": ",".join(f"{x:g}" for x in found["air"] or ()),
            **({"search": "1"} if wanted.find else {}), **({"log": "1"} if wanted.log_days else {})}


def _file(name: str) -> str:
    return f"plan-{name}.json"
