"""Every page over every kind of log: what it must say, and that it never falls over."""
import re
import sqlite3
from contextlib import closing
from html.parser import HTMLParser
from pathlib import Path

import pytest

from dashboard import create_app
from monitor.store import checksum
from tests.dashboard.conftest import PAGES


class Text(HTMLParser):
    """The words of a page, its links, and everything that would load or run."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.words: list[str] = []
        self.addresses: list[str] = []
        self.handlers: list[str] = []
        self.inline_scripts = 0
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.addresses += [given[name] for name in ("src", "href", "action", "data-draw", "data-library") if given.get(name)]
        self.handlers += [name for name in given if name.startswith("on")]
        self.inline_scripts += tag == "script" and "src" not in given

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


@pytest.mark.parametrize("page", PAGES)
def test_every_page_shows_a_full_log_and_says_that_it_is_simulated(client, page: str) -> None:
    answer = client().get(page)
    seen = Text(answer.text)
    assert answer.status_code == 200
    assert seen.text.count("SIMULATED") == 1
    assert not re.search(r"\bNone\b|\bnan\b|\binf\b|Undefined|[{}]{2}", seen.text)


@pytest.mark.parametrize("page", PAGES)
def test_a_simulated_vehicle_is_named_before_its_first_minute(client, page: str) -> None:
    assert Text(client("empty simulated").get(page).text).text.count("SIMULATED") == 1
    assert "SIMULATED" not in Text(client("empty").get(page).text).text


@pytest.mark.parametrize("page", PAGES)
def test_a_real_log_is_not_called_simulated_nor_old(client, page: str) -> None:
    seen = Text(client("real").get(page).text).text
    assert "SIMULATED" not in seen and "NOT UPDATED" not in seen and "clock not confirmed" not in seen


@pytest.mark.parametrize("page", PAGES)
def test_old_figures_are_called_old_on_every_page(client, page: str) -> None:
    seen = Text(client("old").get(page).text).text
    assert "NOT UPDATED The newest reading is 9 days old" in seen


def test_a_clock_that_nobody_confirmed_is_said_and_times_become_spans(client) -> None:
    seen = Text(client("unsure").get("/").text).text
    assert "clock not confirmed" in seen
    assert "The clock has not been confirmed" in Text(client("unsure").get("/about").text).text
    assert not re.search(r"about \d\d:\d\d tomorrow", seen)


@pytest.mark.parametrize("page", [p for p in PAGES if not p.startswith(("/alerts", "/about"))])
def test_an_empty_log_is_called_empty_with_what_to_do(client, page: str) -> None:
    answer = client("empty").get(page)
    assert answer.status_code == 200
    assert "The log is still empty." in answer.text and "ampledger check" in answer.text


def test_the_instrument_of_each_quantity_is_named_where_the_log_tells(full, tmp_path: Path) -> None:
    log = tmp_path / "ampledger.db"
    with closing(sqlite3.connect(full)) as source, closing(sqlite3.connect(log)) as target, target:
        source.backup(target)
        row = ("sources", '{"house_voltage_v": "hwmon, ina226", "house_temperature_c": "w1, 28-000000000001"}')
        target.execute("insert or replace into meta (name, value, crc) values (?, ?, ?)", (*row, checksum.checksum_of("meta")(row)))
    seen = Text(create_app(log).test_client().get("/about").text).text
    assert "hwmon, ina226" in seen and "w1, 28-000000000001" in seen


def test_an_empty_log_has_no_alerts_and_nothing_to_tell_about_itself(client) -> None:
    assert "Nothing is wrong now." in client("empty").get("/alerts").text
    assert "The log is still empty." in client("empty").get("/about").text


@pytest.mark.parametrize("kind, said", [("missing", "there is no log yet"), ("letter", "this is not a log of ampledger")])
@pytest.mark.parametrize("page", PAGES)
def test_a_log_that_cannot_be_read_gives_503_in_words(client, page: str, kind: str, said: str) -> None:
    answer = client(kind).get(page)
    assert answer.status_code == 503
    assert said in answer.text and "Traceback" not in answer.text


@pytest.mark.parametrize("page", PAGES)
def test_a_damaged_log_gives_figures_or_words_but_never_an_error_page(client, page: str) -> None:
    answer = client("damaged").get(page)
    assert answer.status_code in (200, 503)
    if answer.status_code == 503:
        assert "The log is damaged." in answer.text and "ampledger doctor" in answer.text


def test_findings_of_another_version_are_not_called_an_empty_log(client, make_log, tmp_path) -> None:
    import shutil
    import sqlite3
    from contextlib import closing

    from dashboard import create_app

    copy = tmp_path / "copy.db"
    shutil.copy(make_log("simulated"), copy)
    with closing(sqlite3.connect(copy)) as log, log:
        log.execute("update findings set crc = crc + 1")
    seen = create_app(copy).test_client().get("/")
    assert seen.status_code == 200 and "written by another version" in seen.text


@pytest.mark.parametrize("page", PAGES)
def test_nothing_is_loaded_from_outside_and_no_script_stands_in_the_page(client, page: str) -> None:
    seen = Text(client().get(page).text)
    assert seen.addresses and all(a.startswith(("/", "#")) for a in seen.addresses)
    assert not seen.handlers and not seen.inline_scripts


def test_the_figures_that_matter_stand_in_the_page_without_a_script(client) -> None:
    seen = Text(client().get("/").text).text
    assert re.search(r"House battery .*?\d+ % \(\d+–\d+\)", seen)
    assert "reserve 50 %" in seen and "The sun" in seen and "Today so far" in seen
    assert re.search(r"The starter battery rests at 12\.\d\d V", seen)
    assert re.search(r"(The batteries are (separate|connected) and|is not known;) the engine is off", seen)


def test_every_estimate_has_its_interval_or_its_reason(client) -> None:
    """Each row of the pages Starter and Health that shows an estimate."""
    for page in ("/starter", "/health"):
        for row in re.findall(r"<tr><th scope=\"row\">.*?</tr>", client().get(page).text, re.S):
            words = Text(row).text
            if "between" in row:
                assert re.search(r"\([−\d.]+(–| to )[−\d.]+\)", words), words
            elif "because" in row:
                assert "not known yet, because" in words


def test_open_alerts_come_first_on_the_page_now_with_their_rank(client) -> None:
    html = client().get("/").text
    assert html.index("The house battery is at 31 %.") < html.index('id="tonight"')
    assert "Urgent" in html


def test_the_page_alerts_gives_all_four_parts(client) -> None:
    seen = Text(client().get("/alerts").text).text
    for part in ("The house battery is at 31 %.", "What it means The reserve is near.",
                 "Check first Switch the fridge to its low step.", "Clears It is above 40 % again."):
        assert part in seen
    assert "Cleared" in seen


def test_events_and_gaps_of_the_span_are_told_in_words(client) -> None:
    seen = Text(client().get("/log?span=day").text).text
    assert "The starter voltage is not measured." in seen
    assert "30 min starter voltage: adc at 0x48 does not answer" in seen
    assert "The engine was started." in seen


def test_the_daily_books_balance(client) -> None:
    """Received less spent is the balance, line by line."""
    html = client().get("/log?span=all").text
    rows = re.findall(r"<tr><th scope=\"row\">[^<]*</th>((?:<td[^>]*>[−\d.]+</td>){5})</tr>", html)
    assert len(rows) >= 2
    for row in rows:
        sun, engine, other, spent, balance = (float(v.replace("−", "-")) for v in re.findall(r">([−\d.]+)<", row))
        assert sun + engine + other - spent == pytest.approx(balance, abs=0.21)


@pytest.mark.parametrize("query", [
    "span=fortnight", "from=yesterday&to=today", "from=5&to=4", "from=nan&to=9", "from=1e999&to=2e999", "from=1782000000",
    "to=3"])
def test_a_span_that_makes_no_sense_is_refused_in_words(client, query: str) -> None:
    for page in ("/log", "/api/v1/series", "/api/v1/figures/log"):
        answer = client().get(f"{page}?{query}")
        assert answer.status_code == 400
        assert "Traceback" not in answer.text and len(answer.text) > 40


def test_earlier_and_later_lead_over_the_log_and_stop_at_its_ends(client) -> None:
    browser, address, seen = client(), "/log?span=day", []
    while address:
        html = browser.get(address).text
        seen.append(re.search(r'class="turn">.*?<p>(.*?)</p>', html, re.S)[1])
        back = re.search(r'href="([^"]*)" rel="prev"(?! hidden)', html)
        address = back[1].replace("&amp;", "&") if back else None
    assert len(seen) == 3 and len(set(seen)) == 3
    assert 'rel="next" hidden' in browser.get("/log?span=day").text


def test_an_unknown_page_is_a_sentence_too(client) -> None:
    answer = client().get("/nowhere")
    assert answer.status_code == 404 and "There is no such page." in answer.text
    assert client().get("/api/v1/nowhere").json["detail"] == "There is no such page."
