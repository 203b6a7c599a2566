"""One figure for one thing: what two pages show of the same quantity is the same text, odds above all."""
import re
from html.parser import HTMLParser

import pytest

PAGES = ("/", "/tonight", "/starter", "/health")
#: Labels that name one quantity wherever they stand.
LABELS = ("Drain while parked", "Isolator and cables", "Voltage drop while cranking", "Left above reserve", "Left until empty", "Last full")


class Rows(HTMLParser):
    """Rows of the tables of a page as (label, value)."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.rows: list[tuple[str, str]] = []
        self.cells: list[str] = []
        self.place = ""
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        if tag in ("span", "small") and self.place:
            self.place = "" if ("class", "basis") in attrs else self.place
        elif tag in ("th", "td"):
            self.place = tag
            self.cells.append("")
        elif tag == "tr":
            self.cells = []

    def handle_endtag(self, tag):
        if tag in ("th", "td"):
            self.place = ""
        elif tag == "tr" and len(self.cells) == 2:
            label, value = (" ".join(cell.split()) for cell in self.cells)
            self.rows.append((label, value))

    def handle_data(self, data):
        if self.place:
            self.cells[-1] += data


def shown(client, kind: str) -> dict[str, dict[str, str]]:
    """Label -> page -> value."""
    found: dict[str, dict[str, str]] = {}
    for page in PAGES:
        for label, value in Rows(client(kind).get(page).text).rows:
            found.setdefault(label, {})[page] = value
    return found


@pytest.mark.parametrize("kind", ["simulated", "real"])
def test_a_quantity_on_two_pages_is_one_figure(client, kind: str) -> None:
    found = shown(client, kind)
    twice = {label: pages for label, pages in found.items() if label in LABELS and len(pages) > 1}
    assert len(twice) >= 2, "some quantities stand on two pages"
    assert not [pages for pages in twice.values() if len(set(pages.values())) > 1]


@pytest.mark.parametrize("kind", ["simulated", "real"])
def test_there_is_one_set_of_odds_in_the_whole_product(client, kind: str) -> None:
    """The risk of tonight on Now, in the lead and in both tables of Tonight, in the JSON, and in an open alert about it."""
    now = client(kind).get("/api/v1/now").json
    odds = f"{100 * now['forecast']['probability_before_sun']:.0f} in 100"
    for page in ("/", "/tonight"):
        leads = re.findall(r"The risk is ((?:less than |more than )?\d+ in 100)", client(kind).get(page).text)
        assert leads and all(odds == lead or "than" in lead for lead in leads), page
    figures = dict(Rows(client(kind).get("/tonight").text).rows)
    assert {value for label, value in figures.items() if label.startswith("Risk of falling") or label == "As things are"} == {odds}
    for alert in client(kind).get("/api/v1/alerts?open=yes").json["alerts"]:
        if alert["kind"] == "house_reserve_forecast" and alert["state"].startswith("active"):
            assert odds in alert["evidence"] and alert["seen"] == now["sentences"]["tonight_headline"]


def test_the_charge_of_now_is_one_figure_on_page_json_and_picture(client) -> None:
    charge = client().get("/api/v1/now").json["charge"]["charge_frac"]
    html = client().get("/").text
    said = re.search(r"<strong>(\d+)<small> %</small></strong> <span>\((\d+)–(\d+)\)", html).groups()
    assert said == tuple(f"{100 * charge[name]:.0f}" for name in ("value", "low", "high"))
    assert f"{said[0]} per cent, between {said[1]} and {said[2]}" in html
