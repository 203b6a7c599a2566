"""The page Plan: an ordinary fridge vehicle in a few taps, refusals in words, answers that are kept, the sheet to print."""
import re
from urllib.parse import parse_qs, urlparse

import pytest

from dashboard.jobs import plan_page, plan_work
from monitor.planning.plan_request import PlanRequest, as_data, read_request
from tests.dashboard.test_jobs import token, wait
from tests.dashboard.test_pages import Text

USUAL = {"place": "Lisbon", "first": "6", "last": "6", "cold": "fridge,volume=45", "drive": "1.5", "standing": "2",
         "load": ["lights", "laptop"]}


def test_a_plan_is_worked_out_kept_and_printed(client) -> None:
    board = client()
    left = USUAL | {"token": token(board, "/plan"), "system_a": "agm=100,panel=100,relay=5x16",
                    "system_b": "lfp=60,panel=100,dcdc=20,price=700"}
    answer = board.post("/plan", data=left)
    assert answer.status_code == 303
    address = answer.headers["Location"]
    wait(board, address)
    page = board.get(address).text
    shown = Text(page).text
    assert "AGM 100 Ah, panel 100 W, relay 5 m 16 mm²" in shown and "lithium 60 Ah" in shown and "700" in shown
    assert page.count(' <span class="between">(') >= 12                # a range is not broken across lines
    assert "of driving from 50 to 95 %" in shown and "Lisbon (PRT), June" in shown and page.count('<svg class="ranges"') == 3
    assert "Nights in 30, noon to noon" in shown                       # what a figure means is one tap away
    sheets = [a for a in Text(page).addresses if "/sheet/" in a]
    assert len(set(sheets)) == 2
    sheet = board.get(sheets[0])
    assert sheet.status_code == 200 and "Parts" in sheet.text and "fuse" in sheet.text and "<svg" in sheet.text
    assert board.get(address + "/sheet/7").status_code == 404
    assert address in Text(board.get("/plan").text).addresses          # kept and linkable
    assert board.post("/plan", data=left).headers["Location"] == address
    again = parse_qs(urlparse(next(a for a in Text(page).addresses if a.startswith("/plan?")).replace("&amp;", "&")).query)
    assert again["place"] == ["Lisbon"] and again["load"] == ["lights", "laptop"] and again["system_b"] == [left["system_b"]]


@pytest.mark.parametrize(("changes", "said"), [
    ({"place": ""}, "Name a place"), ({"place": "Lissbon"}, "nearest in spelling: Lisbon"), ({"own": "kettle,800"}, "is not a load"),
    ({"system_a": "agm=9000"}, "between 5 and 3000"), ({"system_a": "agm=100"}, "nothing would ever charge it"),
    ({"cold": "", "load": []}, "no load to plan for"), ({"sun": "1,2"}, "write twelve"), ({"short": "x"}, "write a number"),
    ({"standing": "60", "first": "6", "last": "6"}, "contradicts itself")])
def test_what_cannot_be_is_one_sentence_and_loses_nothing(client, changes: dict, said: str) -> None:
    board = client()
    left = USUAL | {"token": token(board, "/plan")} | changes
    if said == "nothing would ever charge it":
        left["drive"] = "0"
    answer = board.post("/plan", data=left)
    assert answer.status_code == 400
    shown = Text(answer.text)
    assert said in shown.text
    assert re.search(r'value="lights" checked', answer.text) or "lights" not in left["load"]
    assert not left["place"] or left["place"] in answer.text


def test_it_needs_its_own_form_and_knows_no_strange_number(client) -> None:
    board = client()
    assert board.post("/plan", data=USUAL).status_code == 403
    for name in ("000000000000", "../../etc"):
        assert board.get(f"/plan/{name}").status_code == 404


def test_an_ordinary_fridge_vehicle_is_filled_in(client) -> None:
    """A box with its usual loads and 1.5 h of driving: place and months are left to be said. The taps are counted in a browser."""
    page = client().get("/plan").text
    assert re.search(r'value="fridge,volume=45" selected', page) and page.count(" checked") == 4
    assert 'value="1.5" selected' in page


def test_a_request_comes_back_from_plain_data() -> None:
    wanted = PlanRequest((("Lisbon", "5-9"),), ("fridge",), ("agm=100,panel=100",), "lightest", sun=(1.0,) * 12)
    assert read_request(as_data(wanted)) == wanted
    with pytest.raises(ValueError, match="no request"):
        read_request({"legs": [], "password": 1})


def test_the_work_tells_how_far_it_is(capsys) -> None:
    found = plan_work.answer(PlanRequest((("Lisbon", "7"),), ("fridge",), ("agm=100,panel=100",)), None)
    told = [float(line) for line in capsys.readouterr().out.split()]
    assert told == sorted(told) and told[-1] > 0.9
    shown = plan_page.describe
    assert shown and found["systems"][0]["name"] == "AGM 100 Ah, panel 100 W"


@pytest.mark.parametrize(("travelled", "shown"), [
    ((10, 11, 0), [("Nov", "10"), ("Dec", "11"), ("Jan", "0")]), ((5, 6), [("Jun", "5"), ("Jul", "6")]),
    ((0, 4, 10, 11), [("May", "4"), ("Nov", "10"), ("Dec", "11"), ("Jan", "0")]), ((3,), [])])
def test_months_follow_each_other_over_new_year(travelled: tuple[int, ...], shown: list[tuple[str, str]]) -> None:
    """Each month has as many nights as its number; a trip of one month needs no table."""
    nights = [float(m) if m in travelled else None for m in range(12)]
    months, rows = plan_page._months([{"name": "one", "short_by_month_per_30": nights}])
    assert list(zip(months, rows[0][1] if rows else [], strict=True)) == shown
