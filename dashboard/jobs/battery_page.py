"""Page New battery: record that one was put in, compare it with those before, take it back."""
from datetime import date, datetime
from typing import Any

from flask import render_template, request

from dashboard import actions, guard, lives_table
from dashboard import log_view as books
from dashboard.jobs.asking import describe_asking, read_number
from dashboard.jobs.blueprint import jobs
from dashboard.words import clock_text
from monitor.battery.label import CHEMISTRIES, KIND_WORDS
from monitor.reporting import history_words
from monitor.reporting.sentences import sentence

PLACES = ("house", "starter")


@jobs.get("/battery")
def battery() -> str:
    """The batteries that are there, the form, the comparison, and who told what."""
    return _page({})


@jobs.post("/battery/replaced")
@guard.own_form
def battery_replaced() -> Any:
    """Leaves word that a battery was replaced."""
    given = _read_form()
    try:
        values = {"battery": _place(given), "rated_capacity_ah": read_number(given["capacity"], "capacity", 1, 2000),
                  "label": given["label"], "chemistry": _chemistry(given), "at_utc_s": _noon(given["day"])}
    except ValueError as error:
        return _page(given, sentence(error)), 400
    return actions.leave("battery_replaced", values, to="battery")


@jobs.post("/battery/described")
@guard.own_form
def battery_described() -> Any:
    """Leaves word what a battery is called, or when it was put in."""
    given = _read_form()
    try:
        if not given["label"] and not given["day"]:
            raise ValueError("give it a name, say when it was put in, or both")
        values = {"battery": _place(given), "label": given["label"] or None, "installed_utc_s": _noon(given["day"])}
    except ValueError as error:
        return _page(given, sentence(error)), 400
    return actions.leave("battery_described", values, to="battery")


def _page(given: dict[str, str], wrong: str = "") -> str:
    book = books.open_log_view()
    if book.vehicle is None:
        return render_template("words.html", title="New battery", page="battery", book=book, heading="Nothing has been concluded yet.",
                               text="Come back after the first minute of measuring.", todo=())
    present = []
    for place in PLACES:
        life = book.lives.of(place, book.vehicle)[-1]  # type: ignore[arg-type]  # a place is one of two
        since = "there since before the log" if life.installed_utc_s is None else f"since {clock_text(life.installed_utc_s, '%-d %b %Y')}"
        kind = f"{KIND_WORDS[life.chemistry]}, {life.rated_capacity_ah:g} Ah, " if life.label else ""
        present.append((f"{place} battery".capitalize(), history_words.name(life), f"{kind}{since}"))
    starters = [(history_words.name(life), lives_table.describe_ends(life)) for life in book.lives.of("starter", book.vehicle)]
    return render_template(
        "battery.html", title="New battery", page="battery", book=book, wrong=wrong, given=given, present=present, places=PLACES,
        kinds=[(kind, KIND_WORDS[kind]) for kind in CHEMISTRIES], rows=lives_table.rows(book), headings=lives_table.HEADINGS,
        starters=starters, today=date.today().isoformat(), **describe_asking(book, "battery", "house battery", "starter battery"))


def _read_form() -> dict[str, str]:
    return {name: request.form.get(name, "").strip()[:80] for name in ("battery", "capacity", "label", "chemistry", "day")}


def _place(given: dict[str, str]) -> str:
    if given["battery"] not in PLACES:
        raise ValueError("say which battery it is: house or starter")
    return given["battery"]


def _chemistry(given: dict[str, str]) -> str | None:
    if given["chemistry"] and given["chemistry"] not in CHEMISTRIES:
        raise ValueError(f"no chemistry {given['chemistry']!r}")
    return given["chemistry"] or None


def _noon(text: str) -> float | None:
    """UTC of a day's local noon, None for none; of today, now. Raises ValueError."""
    if not text:
        return None
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{text!r} is not a day; write it as 2026-06-01") from None
    if day == date.today():
        return None
    if day > date.today() or day.year < 1990:
        raise ValueError(f"{text} is not a day that has been")
    return datetime(day.year, day.month, day.day, 12).astimezone().timestamp()
