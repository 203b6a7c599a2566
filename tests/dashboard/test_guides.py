"""The guides as pages: there whatever the log is like, with this vehicle's picture, and a circuit sheet that refuses."""
import html
import re
from urllib.parse import quote

import pytest

from monitor import documents
from tests.dashboard.test_pages import Text

GUIDES = ("/wiring", "/circuits", "/circuits?name=fridge&current=5&length=4", "/starting-help", "/documents", "/documents/install")
LOGS = ("simulated", "real", "old", "unsure", "empty", "missing", "damaged", "letter")


@pytest.mark.parametrize("log", LOGS)
@pytest.mark.parametrize("page", GUIDES)
def test_a_guide_is_there_whatever_the_log_is_like(client, page: str, log: str) -> None:
    answer = client(log).get(page)
    seen = Text(answer.text)
    assert answer.status_code == 200
    assert not re.search(r"\bNone\b|\bnan\b|Undefined|[{}]{2}", seen.text)
    assert not [a for a in seen.addresses if a.startswith(("http:", "https:", "//"))] and not seen.handlers and not seen.inline_scripts
    assert "licensed electrician" in seen.text


@pytest.mark.parametrize("page", ["/alerts", "/health", "/parked", "/wiring", "/circuits?current=900&length=4", "/starting-help"])
def test_whoever_reads_a_safety_figure_sees_who_has_the_last_word(client, page: str) -> None:
    seen = re.sub(r"\s+", " ", Text(client().get(page).text).text)
    assert "local codes" in seen.lower() and "last word" in seen


@pytest.mark.parametrize("page", GUIDES)
def test_every_link_of_a_guide_leads_to_a_page_of_this_board(client, page: str) -> None:
    from_board = client()
    for address in Text(from_board.get(page).text).addresses:
        if not address.startswith("#"):
            assert from_board.get(address).status_code == 200, address


def test_a_guide_that_was_read_below_another_address_links_to_where_it_is_read_now(client) -> None:
    """A fleet's pages of two vehicles are served by one process."""
    from_board = client()
    for page in ("/wiring", "/documents/alerts"):
        for root in ("/vehicle/one", "/vehicle/two", ""):
            links = [link for link in Text(from_board.get(page, environ_overrides={"SCRIPT_NAME": root}).text).addresses
                     if "documents" in link or "wiring" in link]
            assert links and all(link.startswith(f"{root}/") for link in links if not link.startswith("#")), (page, root)
            assert root or not any("vehicle" in link for link in links)


def test_the_wiring_page_holds_every_chapter_and_the_picture(client) -> None:
    text = client().get("/wiring").text
    assert text.count("<svg") == 1 and 'role="img"' in text
    for chapter in ("Measuring across the shunt", "Relay or contactor", "Lithium on a bare alternator", "Alternators under engine control",
                    "Batteries in parallel", "Solar chargers", "Shore power", "Inverter ripple", "Terminals, clamps", "Ventilation"):
        assert chapter in text
    assert "79 to 101 V" in text and "load side of the shunt" in text
    for anchor in re.findall(r'href="#([a-z0-9-]+)"', text):
        assert f'id="{anchor}"' in text


def test_starting_help_needs_one_red_lead_and_patience(client) -> None:
    text = Text(client().get("/starting-help").text).text
    assert "one red lead" in text and "Wait 5 to 15 minutes with the lead on" in text and "frozen, cracked, leaking" in text
    assert "/starting-help" in client().get("/starter").text


def test_the_circuit_sheet_answers_refuses_and_prints(client) -> None:
    board = client()
    sized = Text(board.get("/circuits?name=inverter&current=160&length=1&insulation=105").text).text
    assert "70 mm²" in sized and "200 A" in sized
    refused = Text(board.get("/circuits?current=900&length=4").text).text
    assert "REFUSED" in refused and "share the load" in refused
    printed = board.get("/circuits?name=pump&current=4&length=2&print=1")
    assert printed.status_code == 200 and "Circuit sheet" in printed.text and "pump" in printed.text


@pytest.mark.parametrize("query", [
    "current=five&length=4", "current=5", "length=4", "current=1e400&length=4", "current=5&length=4&kind=bomb",
        "current=5&length=4&insulation=x",
    "current=5&length=4&bundle=nan", "current=5&length=4&ambient=inf", "current=5&length=4&place=moon", "current=-5&length=4",
        "current=5&length=4&bundle=1e9"])
def test_absurd_figures_are_refused_in_a_sentence(client, query: str) -> None:
    answer = client().get("/circuits?" + query)
    assert answer.status_code == 200 and "REFUSED" in answer.text


def test_a_name_is_only_a_name(client) -> None:
    name = quote("<script>alert(1)</script>")
    for tail in ("", "&print=1"):
        assert "<script>alert" not in client().get(f"/circuits?name={name}&current=5&length=4{tail}").text


@pytest.mark.parametrize("log", ("simulated", "real", "old", "unsure", "empty"))
def test_parked_says_how_long_or_what_is_missing(client, log: str) -> None:
    answer = client(log).get("/parked")
    seen = Text(answer.text).text
    assert answer.status_code == 200 and ("Before you leave" in seen or "Nothing has been concluded yet" in seen)
    assert not re.search(r"\bNone\b|\bnan\b|\binf\b|Undefined|[{}]{2}", seen)


@pytest.mark.parametrize("query", ["weeks=-1", "weeks=many", "weeks=1e9", "temperature=200", "temperature=nan", "weeks=inf"])
def test_absurd_stays_are_refused_on_the_page(client, query: str) -> None:
    answer = client().get("/parked?" + query)
    assert answer.status_code == 200 and "REFUSED" in answer.text


def test_the_ventilation_calculator_on_the_wiring_page(client) -> None:
    board = client()
    assert "0.60 m³/h" in board.get("/wiring?chemistry=flooded&capacity=100").text
    for bad in ("chemistry=lfp&capacity=100", "chemistry=agm&capacity=-1", "chemistry=agm&capacity=lots", "chemistry=agm&capacity=nan",
        "capacity=1e999"):
        answer = board.get("/wiring?" + bad)
        assert answer.status_code == 200 and "REFUSED" in answer.text


@pytest.mark.parametrize("name", documents.names())
def test_every_document_is_served_and_its_links_lead_somewhere(client, name: str) -> None:
    board = client()
    assert f'href="/documents/{name}"' in board.get("/documents").text
    answer = board.get(f"/documents/{name}")
    assert answer.status_code == 200 and documents.title(name) in html.unescape(answer.text)
    article = answer.text.partition("<article")[2].partition("</article>")[0]
    assert all(src.startswith("/documents/guide-") for src in re.findall(r'<img src="([^"]*)', article))
    assert ".md" not in " ".join(re.findall(r'href="([^"]*)"', article))
    for address in set(re.findall(r'href="(/[^"#]*)', article)):
        assert board.get(address).status_code == 200, address


def test_a_document_that_is_not_there_is_a_page_that_says_so(client) -> None:
    for name in ("nothing", "..%2f..%2fetc%2fpasswd", "install.md"):
        assert client().get(f"/documents/{name}").status_code == 404


def test_the_guide_for_travellers_shows_its_pictures_and_nothing_else_is_served_beside_them(client) -> None:
    board = client()
    pictures = [a for a in Text(board.get("/documents/guide").text).addresses if a.endswith(".png")]
    assert len(pictures) == 3
    for address in pictures:
        answer = board.get(address)
        assert answer.status_code == 200 and answer.data.startswith(b"\x89PNG") and len(answer.data) < 150_000
    for name in ("..%2fpyproject", "nothing", "example.toml"):
        assert board.get(f"/documents/{name}.png").status_code == 404
