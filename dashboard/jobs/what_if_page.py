"""Page What if: other batteries, panels and chargers over the weeks of this log, side by side with today's."""
import json
from urllib.parse import urlencode

from flask import current_app, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from dashboard import guard
from dashboard import log_view as books
from dashboard.jobs.blueprint import jobs
from dashboard.jobs.pictures import Mark, draw_ranges
from dashboard.jobs.waiting import background, kept_answers, number_of, stage_of, tell_stage, working_page
from dashboard.words import clock_text
from monitor.planning import candidates
from monitor.reporting.sentences import capitalise, number, sentence

#: Set-ups in one answer, the latest days of the log that are asked for at most and usually, and the fewest that say something.
PLACES, MOST_DAYS, USUAL_DAYS, LEAST_DAYS = ("a", "b", "c"), 730, 60, 7
#: (field, label, placeholder) of a set-up's figures; fields are those of `ampledger whatif`.
FIELDS = (("capacity", "Capacity, Ah", "as it is"), ("sun", "Solar panel, times today's", "1"), ("solar", "Solar charger limit, A", "none"),
          ("dcdc", "Charger from the engine, A", "as it is"), ("loads", "Use, times today's", "1"), ("reserve", "Reserve, %", "as it is"))
KINDS = {"flooded": "flooded", "agm": "AGM", "gel": "gel", "lfp": "lithium iron phosphate"}
MODULE = "dashboard.jobs.what_if_work"


@jobs.get("/what-if")
def what_if():
    """The form, and the answers that are kept."""
    return _form({name: request.args.get(name, "")[:12] for name in _names()})


@jobs.post("/what-if")
@guard.own_form
def ask_what_if():
    """Begins to work it out."""
    given = {name: request.form.get(name, "").strip()[:12] for name in _names()}
    try:
        asked, days = _read(given)
    except ValueError as error:
        return _form(given, sentence(error)), 400
    book = books.open_log_view()
    if book.now is None:
        return _form(given, "The log is still empty; come back after some days."), 400
    name = number_of(MODULE, str(days), *asked, str(int(book.now.utc_s // 3600)))
    arguments = ["--database", str(current_app.config["DATABASE"]), "--days", str(days)]
    for text in asked:
        arguments += ["--with", text]
    if not background().start(name, _file(name), MODULE, arguments):
        return _form(given, "Another one is being worked out just now. Wait until it is done, a minute or so."), 503
    return redirect(url_for("jobs.what_if_answer", name=name), 303)


@jobs.get("/what-if/<name>")
def what_if_answer(name: str):
    """An answer, or how far it is."""
    stage = stage_of(name, _file(name))
    if stage.file is None:
        return working_page("What if", "what-if", name, stage, "The board replays your weeks through each set-up, a hundred times with "
                                                               "what is not known exactly drawn anew.")
    return render_template("what_if.html", title="What if", page="what-if", book=books.open_log_view(),
                           **describe(json.loads(stage.file.read_text())))


@jobs.get("/what-if/<name>/state")
def what_if_state(name: str) -> Response:
    """How far it is, for the page that waits."""
    return tell_stage(stage_of(name, _file(name)))


def describe(found: dict) -> dict:
    """What the template shows of an answer: lead, rows, pictures, weight."""
    answers = found["answers"]
    names = [describe_candidate(a["asked"]) or "Today's set-up" for a in answers]
    today, others = answers[0], list(zip(names[1:], answers[1:], strict=True))
    best_name, best = min(others, key=lambda pair: (pair[1]["nights_below_per_30"]["value"], -pair[1]["lowest_frac"]["value"]))
    def picture(heading: str, figure: str, most: float, scale: float = 1.0, limits: bool = False) -> tuple[str, Markup]:
        marks = [_mark(n, a[figure], scale, 100 * a["reserve_frac"] if limits else None) for n, a in zip(names, answers, strict=True)]
        return heading, draw_ranges(heading, marks, 0, most)

    return {
        "lead": _lead(best_name, best, today), "weight": sentence(found["weight"]), "days": number(found["days"]),
        "made": clock_text(found["made_utc_s"], "%-d %b %Y, %H:%M"),
        "rows": [_row(name, a) for name, a in zip(names, answers, strict=True)],
        "again": f"{url_for('jobs.what_if')}?{urlencode({'days': found['asked_days'], **_fields([a['asked'] for a in answers[1:]])})}",
        "pictures": [picture("Nights below the reserve, of 30", "nights_below_per_30", 30),
                     picture("Lowest charge, %", "lowest_frac", 100, 100, limits=True),
                     picture("Days that end full, of 30", "full_days_per_30", 30)]}


def describe_candidate(text: str) -> str:
    """A set-up in words.

    >>> describe_candidate("chemistry=lfp,capacity=200,sun=1.5")
    '200 Ah, lithium iron phosphate, panel × 1.5'
    """
    if not text:
        return ""
    found = candidates.parse_candidate(text)
    shapes = {"capacity": "{} Ah", "sun": "panel × {}", "solar": "solar charger {} A", "dcdc": "{} A from the engine", "loads": "use × {}",
              "reserve": "reserve {} %"}
    words = [shapes[key].format(f"{value:g}") for key, value in found.figures.items()]
    if found.chemistry is not None:
        words.insert(1 if "capacity" in found.figures else 0, KINDS[found.chemistry])
    return ", ".join(words)


def _lead(name: str, best: dict, today: dict) -> str:
    before, after = (round(a["nights_below_per_30"]["value"]) for a in (today, best))
    if before == after == 0:
        return f"No night went below your reserve, and none would have. Lowest: {number(100 * best['lowest_frac']['value'])} % " \
               f"instead of {number(100 * today['lowest_frac']['value'])} %."
    if after >= before:
        return f"No gain: {after} nights in 30 below your reserve; today {before}."
    return f"{capitalise(name)}: {after} nights in 30 below your reserve instead of {before}."


def _row(name: str, answer: dict) -> tuple[str, tuple[tuple[str, str], ...]]:
    return name, (
        ("Nights below reserve in 30", _range(answer["nights_below_per_30"])),
        ("Against today", _range(answer["nights_difference_per_30"], signed=True) if answer["asked"] else "–"),
        ("Lowest charge", _range(answer["lowest_frac"], 100, " %")), ("Ah missing in 30 days", _range(answer["unserved_ah_per_30"])),
        ("Days full in 30", _range(answer["full_days_per_30"])), ("Full cycles a year", _range(answer["cycles_per_year"])),
        ("Years a new one lives", _years(answer.get("years"))))


def _years(found: dict | None) -> str:
    """Years with their range; a dash where the log is too short, or the answer is of an earlier version."""
    return "–" if not found or "value" not in found else _range(found)


def _range(found: dict, scale: float = 1.0, unit: str = "", signed: bool = False) -> str:
    value, low, high = (round(scale * found[part]) for part in ("value", "low", "high"))
    sign = "+" if signed and value > 0 else ""
    between = f"{number(low)} to {number(high)}" if low < 0 else f"{number(low)}–{number(high)}"
    return f"{sign}{number(value)}{unit} ({between})"


def _mark(name: str, found: dict, scale: float = 1.0, at: float | None = None) -> Mark:
    return Mark(name, scale * found["value"], scale * found["low"], scale * found["high"], at)


def _form(given: dict[str, str], wrong: str = ""):
    book = books.open_log_view()
    first, last = book.extent()
    kept = [(name, *picked) for name, picked in kept_answers("whatif", lambda answer: (
        clock_text(answer["made_utc_s"], "%-d %b, %H:%M"), "; ".join(describe_candidate(a["asked"]) for a in answer["answers"][1:])))]
    vehicle, length_days = book.vehicle, (last - first) / 86400
    young = "" if length_days >= LEAST_DAYS else (f"The log is {number(length_days)} days long. It takes {LEAST_DAYS} to say something, "
                                                  "and four weeks to say it well.")
    return render_template(
        "what_if_form.html", title="What if", page="what-if", book=book, given=given, wrong=wrong, places=PLACES, fields=FIELDS,
        kinds=KINDS, kept=kept, filled={name.partition("-")[0] for name, text in given.items() if text}, young=young,
        usual_days=USUAL_DAYS, today=f"{vehicle.house.rated_capacity_ah:g} Ah, {KINDS[vehicle.house.chemistry]}" if vehicle else "")


def _names() -> list[str]:
    return ["days", *(f"{place}-{field}" for place in PLACES for field in ("chemistry", *(f for f, _, _ in FIELDS)))]


def _read(given: dict[str, str]) -> tuple[list[str], int]:
    """Set-ups as `ampledger whatif` takes them, and the days. Raises ValueError."""
    asked = []
    for place in PLACES:
        pairs = [(field, given[f"{place}-{field}"].replace(",", ".")) for field in ("chemistry", *(f for f, _, _ in FIELDS))]
        text = ",".join(f"{field}={value}" for field, value in pairs if value)
        if text:
            candidates.parse_candidate(text)
            asked.append(text)
    if not asked:
        raise ValueError("fill in at least one figure of a set-up; what you leave empty stays as it is today")
    days = given["days"] or str(USUAL_DAYS)
    if not (days.isascii() and days.isdecimal()) or not 3 <= int(days) <= MOST_DAYS:
        raise ValueError(f"days is {days!r}: write a whole number from 3 to {MOST_DAYS}")
    return asked, int(days)


def _fields(asked: list[str]) -> dict[str, str]:
    """The form's fields for set-ups."""
    return {f"{place}-{field}": value for place, text in zip(PLACES, asked, strict=False)
            for field, _, value in (pair.partition("=") for pair in text.split(","))}


def _file(name: str) -> str:
    return f"whatif-{name}.json"
