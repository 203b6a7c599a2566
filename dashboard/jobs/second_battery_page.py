"""Page Second battery: whether the vehicle's only battery can feed the camp, and for how long it still starts the engine."""
from flask import render_template, request

from dashboard import log_view as books
from dashboard.jobs.blueprint import jobs
from monitor.planning import second_battery as planning
from monitor.planning.labels import LONGEST, read_label
from monitor.reporting import second_battery_words as words
from monitor.reporting.sentences import sentence

#: Rows of the form for loads; figures of the form with what is taken where nothing is typed.
LOADS = (1, 2, 3)
USUAL = {"litres": 2.0, "temperature": 10.0, "night": 14.0, "drive": 1.5}


@jobs.get("/second-battery")
def second_battery():
    """The answer to what is in the address."""
    names = ["label", "engine", *USUAL, *(f"{field}{row}" for row in LOADS for field in ("name", "watts", "hours"))]
    given = {name: request.args.get(name, "").strip()[:LONGEST if name == "label" else 20] for name in names}
    found, wrong = None, ""
    if given["label"]:
        try:
            battery = planning.battery_of(read_label(given["label"]), _number(given, "litres"), given["engine"] == "diesel")
            found = planning.answer(battery, _loads(given), _number(given, "night"), _number(given, "temperature"), _number(given, "drive"))
        except ValueError as error:
            wrong = sentence(error)
    return render_template("second_battery.html", title="Second battery", page="second-battery", book=books.open_if_readable(), given=given,
                           found=found, wrong=wrong, words=words, loads=LOADS, usual=USUAL), 400 if wrong else 200


def _number(given: dict[str, str], name: str) -> float:
    """A figure of the form. Raises ValueError."""
    text = given[name].replace(",", ".")
    try:
        return float(text) if text else USUAL[name]
    except ValueError:
        raise ValueError(f"{name} is {given[name]!r}: write a number") from None


def _loads(given: dict[str, str]) -> list[planning.CampLoad]:
    """The loads of the form; a row without watts is none. Raises ValueError."""
    found = []
    for row in LOADS:
        watts, hours = given[f"watts{row}"].replace(",", "."), given[f"hours{row}"].replace(",", ".")
        if not watts:
            continue
        name = given[f"name{row}"] or f"load {row}"
        try:
            found.append(planning.CampLoad(name, float(watts), float(hours)))
        except ValueError:
            raise ValueError(f"{name}: write its watts and its hours a day as numbers, as 45 and 10") from None
    return found
