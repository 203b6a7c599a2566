"""One figure for one thing: what two pages show of the same quantity is the same text, odds above all."""
import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient

from dashboard import create_app
from monitor.cli import commands
from monitor.reporting.sentences import number
from tests import store_fixture

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


#: Moments of some lives: name -> (days of it, random seed): at dawn, in a drive, in the afternoon, in the evening, at night.
MOMENTS = {"dawn": (1.27, 3), "drive": (2.385, 4), "afternoon": (1.65, 5), "evening": (2.82, 6), "night": (2.05, 7)}


@pytest.fixture(scope="module")
def moment(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], tuple[FlaskClient, Path]]:
    """A browser over the log at a moment, and the log; each is made once."""
    made: dict[str, tuple[FlaskClient, Path]] = {}

    def open_moment(name: str) -> tuple[FlaskClient, Path]:
        if name not in made:
            days, seed = MOMENTS[name]
            log = store_fixture.fill(tmp_path_factory.mktemp(name) / "ampledger.db", days, beat_s=60.0, seed=seed)
            made[name] = create_app(log).test_client(), log
        return made[name]

    return open_moment


def plain(html: str) -> str:
    """The words of a page, in one line."""
    return " ".join(re.sub(r"<[^>]+>", " ", html.partition("<main")[2]).replace("&nbsp;", " ").replace("&#39;", "'").split())


def estimate(answer: dict, unit: str, scale: float = 1.0, digits: int = 0) -> str:
    """An estimate of the JSON as a page prints it, ends below zero as zero."""
    if "because" in answer:
        return f"not known yet, because {answer['because']}"
    value, low, high = (number(max(scale * answer[name], 0.0), digits) for name in ("value", "low", "high"))
    return f"{value} {unit} ({low}–{high})"


@pytest.mark.parametrize("name", MOMENTS)
def test_pages_json_and_the_command_say_one_figure(name: str, moment) -> None:
    client, log = moment(name)
    said = client.get("/api/v1/now").json
    rows = {path: dict(Rows(client.get(path).text).rows) for path in PAGES}
    pages = {path: plain(client.get(path).text) for path in (*PAGES, "/log", "/alerts")}
    ran = CliRunner().invoke(commands, ["status", "--database", str(log)])
    assert ran.exit_code == 0, ran.output
    status = " ".join(ran.output.split())
    as_data = json.loads(CliRunner().invoke(commands, ["status", "--json", "--database", str(log)]).output)

    charge, starter = said["charge"], said["starter"]
    assert estimate(charge["charge_frac"], "%", 100) in status.replace("–", "–")
    assert rows["/"]["Left above reserve"] == estimate(charge["usable_left_ah"], "Ah")
    assert rows["/"]["Left until empty"] == estimate(charge["charge_left_ah"], "Ah")
    assert rows["/health"]["Capacity now"] == estimate(charge["capacity_ah"], "Ah")
    for path in ("/", "/starter", "/health"):
        assert rows[path]["Drain while parked"] == estimate(starter["drain_a"], "mA", 1000)
        assert rows[path]["Isolator and cables"] == estimate(said["join"]["path_resistance_ohm"], "mΩ", 1000, 1)
    assert rows["/starter"]["Charge"] == estimate(starter["charge_frac"], "%", 100)
    for sentence in ("tonight_headline", "starter_headline"):
        assert said["sentences"][sentence] in pages["/"]
    assert said["sentences"]["tonight_headline"] in pages["/tonight"] and said["sentences"]["tonight_headline"] in status
    for sentence in ("starter", "join", "today", "charge"):
        assert said["sentences"][sentence] in status, sentence
    assert said["sentences"]["starter"] in pages["/starter"] and said["sentences"]["join"] in pages["/starter"]
    for group in ("charge", "starter", "join"):
        for figure, answer in said[group].items():
            if isinstance(answer, dict):
                given = as_data["findings"][group][figure]
                assert {part: value for part, value in given.items() if part != "_"} == answer, figure
    assert said["open_alerts"] == sum(alert["state"].startswith("active") for alert in client.get("/api/v1/alerts?open=yes").json["alerts"])


@pytest.mark.parametrize("name", MOMENTS)
def test_moments_of_the_night_are_the_same_in_the_sentence_and_in_the_table(name: str, moment) -> None:
    client, _ = moment(name)
    table, detail = dict(Rows(client.get("/tonight").text).rows), client.get("/api/v1/now").json["forecast"]["detail"]
    for label, pattern in (("Solar takes over", r"solar takes over (about [^.;]+)"), ("Lowest point before the sun", r"(\d+ %)"),
                           ("Your reserve reached", r"most likely (about [^.;]+)")):
        found = re.search(pattern, detail)
        if found and label in table:
            assert table[label] == found[1], (label, detail)
    full = re.search(r"Full (about [\d:]+[a-z ]*?)(?=,| by sun| again)", plain(client.get("/tonight").text))
    if full and "Full again" in table:
        assert table["Full again"] == full[1]


@pytest.mark.parametrize("name", MOMENTS)
def test_today_has_the_same_ampere_hours_on_now_in_the_log_and_as_data(name: str, moment) -> None:
    client, _ = moment(name)
    today = client.get("/api/v1/now").json["counts"]["today"]
    received, spent = today["sun_ah"] + today["alternator_ah"] + today["other_ah"], today["spent_ah"]
    assert f"Today so far {number(received, 1)} {number(spent, 1)}" in plain(client.get("/").text)
    row = re.search(r"<tbody><tr><th scope=\"row\">[^<]*</th>(.*?)</tr>", client.get("/log").text)[1]
    cells = re.findall(r"<td[^>]*>([^<]*)</td>", row)
    assert cells[:4] == [number(today[source], 1) for source in ("sun_ah", "alternator_ah", "other_ah")] + [number(spent, 1)]
    day = client.get("/api/v1/days").json["days"][-1]
    assert [day[column] for column in ("sun_ah", "charge_out_ah")] == [today["sun_ah"], spent]
