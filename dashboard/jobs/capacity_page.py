"""Page Capacity test: what to do, what to mind, begin and end by the code; the daemon follows it, also when nobody looks."""
from typing import Any

from flask import render_template, request

from dashboard import actions, guard, lives_table
from dashboard import log_view as books
from dashboard.jobs.asking import describe_asking, read_number
from dashboard.jobs.blueprint import jobs
from monitor.reporting.sentences import number, sentence
from monitor.wear import capacity_test as test_rules
from monitor.wear.watched_test import HIGHEST_STOP_V, LOWEST_STOP_V, describe_progress


@jobs.get("/capacity-test")
def capacity_test() -> str:
    """Where it stands, and how it goes."""
    return _page("")


@jobs.post("/capacity-test/begin")
@guard.own_form
def begin_capacity_test() -> Any:
    """Leaves word that a test is to be followed."""
    try:
        stop_v = read_number(request.form.get("stop_v", ""), "end voltage", LOWEST_STOP_V, HIGHEST_STOP_V)
    except ValueError as error:
        return _page(sentence(error)), 400
    return actions.leave("begin_capacity_test", {"stop_v": stop_v, "to_reserve": int(request.form.get("to_reserve") == "1")},
                         to="capacity-test")


@jobs.post("/capacity-test/end")
@guard.own_form
def end_capacity_test() -> Any:
    """Leaves word that it is to be followed no further."""
    return actions.leave("end_capacity_test", {}, to="capacity-test")


def _page(wrong: str) -> str:
    book = books.open_log_view()
    if book.vehicle is None:
        return render_template("words.html", title="Capacity test", page="capacity-test", book=book,
                               heading="Nothing has been concluded yet.", text="Come back after the first minute of measuring.", todo=())
    house, test = book.vehicle.house, book.capacity_test
    low_a, high_a = test_rules.load_a(house)
    return render_template(
        "capacity_test.html", title="Capacity test", page="capacity-test", book=book, wrong=wrong, test=test, lead=describe_progress(test),
        house=house, low_a=number(low_a), high_a=number(high_a), stop_v=test_rules.END_V[house.lead_acid],
        coldest_c=test_rules.COLDEST_C, hottest_c=test_rules.HOTTEST_C - 5, hours=number(house.rated_capacity_ah / high_a),
        reserve=number(100 * house.reserve_soc_frac), drawn_part=number(100 * test.run.drawn_ah / house.rated_capacity_ah) if test else "",
        refresh_s=60 if test and test.at_work else None, tests=lives_table.tests(book),
        **describe_asking(book, "capacity-test", "capacity test"))
