"""Page Loads: what each named load took, and the loads found in the current, to be given a name."""
from typing import Any

from flask import render_template, request

from dashboard import actions, guard
from dashboard import log_view as books
from dashboard.jobs.asking import describe_asking
from dashboard.jobs.blueprint import jobs
from monitor.reporting import load_words


@jobs.get("/loads")
def loads() -> str:
    """The table by name, and the list of all that was found."""
    book = books.open_log_view()
    if book.findings is None:
        return render_template("words.html", title="Loads", page="loads", book=book, heading="Nothing has been measured yet.",
                               text="Loads are found by their steps in the current; come back after the first evening.", todo=())
    named = book.findings.named
    found = [load_words.recognise(load, book.when) for load in named.loads]
    unnamed = sum(not row.name for row in found)
    lead = (f"Not known, because {named.because}." if named.because else "No load has been found yet." if not found else
            "Every load on the list has a name." if not unnamed else
            "One load waits for a name." if unnamed == 1 else f"{unnamed} loads wait for a name.")
    return render_template("loads.html", title="Loads", page="loads", book=book, lead=lead, found=found, f=book.findings,
                           load_rows=load_words.table(named), wrong="", **describe_asking(book, "loads", "load names"))


@jobs.post("/loads/<int:number>/name")
@guard.own_form
def name_load(number: int) -> Any:
    """Leaves word what a load is called."""
    return actions.leave("name_load", {"load": number, "name": request.form.get("name", "").strip()[:60]}, to="loads")
