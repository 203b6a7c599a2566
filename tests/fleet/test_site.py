"""The fleet's site as browsers and boards meet it: codes and roles, vehicles by need, a vehicle's own pages, the door for batches."""
import re
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from wsgiref.simple_server import WSGIRequestHandler, make_server

import pytest
from sqlalchemy import Engine, update
from werkzeug.test import Client

from dashboard.fleet import create_site
from dashboard.words import age_words
from monitor.fleet import keys, people
from monitor.fleet.publishing import Https, Publisher, Refused
from monitor.fleet.tables import vehicles
from tests import store_fixture
from tests.fleet.lines import NOW_UTC_S, Straight
from tests.fleet.test_publish import assert_same

pytestmark = pytest.mark.parametrize("engine", ["postgresql"], indirect=True)

PAGES = ("", "tonight", "log", "starter", "alerts", "health", "about")


@pytest.fixture
def fleet(engine: Engine, published_log: Path) -> Engine:
    """Two vehicles: one that has published, one that has not; and a person of each role."""
    with engine.begin() as connection:
        key = keys.enrol(connection, "hilux-07", NOW_UTC_S)
        keys.enrol(connection, "patrol-02", NOW_UTC_S)
    Publisher(published_log, Straight(engine, key), "board-a", "0.1.0").publish(lambda: NOW_UTC_S)
    return engine


def client_of(engine: Engine, role: str | None = "administer", **more) -> Client:
    client = Client(create_site(engine, **more))
    if role is not None:
        with engine.begin() as connection:
            code = people.put(connection, role, role)
        answer = post(client, "/sign-in", "/sign-in", name=role, code=code)
        assert answer.status_code == 303
    return client


def post(client: Client, page: str, to: str, **values: str):
    token = re.search(r'name="token" value="([^"]+)"', client.get(page).get_data(as_text=True))
    assert token, page
    return client.post(to, data={"token": token[1], **values}, headers={"Sec-Fetch-Site": "same-origin"})


def test_nobody_looks_without_a_code(fleet: Engine) -> None:
    client = client_of(fleet, None)
    for page in ("/", "/alerts", "/batteries", "/vehicle/hilux-07/", "/vehicle/hilux-07/log", "/vehicle/hilux-07/api/v1/now"):
        answer = client.get(page)
        assert answer.status_code == 303 and answer.headers["Location"] == "/sign-in", page
    wrong = post(client, "/sign-in", "/sign-in", name="administer", code="guess")
    assert wrong.status_code == 403 and "not a name and its code" in wrong.get_data(as_text=True)


def test_the_list_puts_what_needs_somebody_first(fleet: Engine) -> None:
    text = client_of(fleet, "see").get("/").get_data(as_text=True)
    assert text.index("hilux-07") < text.index("patrol-02")
    assert "The house battery is at 31 %." in text, "the open alert of the log, in its own words"
    assert "Nothing has come from its board yet." in text and "never heard from" in text
    with fleet.begin() as connection:
        connection.execute(update(vehicles).where(vehicles.c.name == "hilux-07").values(refused="2026-08-01: Another board publishes."))
    text = client_of(fleet, "see").get("/").get_data(as_text=True)
    assert "Another board publishes." in text, "it is also said where something else is more urgent"


@pytest.mark.parametrize("page", PAGES)
def test_a_vehicles_own_pages_are_the_boards(fleet: Engine, page: str) -> None:
    answer = client_of(fleet, "see").get(f"/vehicle/hilux-07/{page}")
    text = answer.get_data(as_text=True)
    assert answer.status_code == 200, text[:300]
    assert 'href="/vehicle/hilux-07/log"' in text and 'href="/">← Fleet' in text and "<b>hilux-07</b>" in text
    assert page != "about" or "ampledger on its board" in text
    assert "Mark as seen" not in text and "Remind me" not in text and "/more" not in text


@pytest.mark.parametrize("page", PAGES)
def test_every_link_of_a_vehicles_page_leads_somewhere_that_can_be_seen(fleet: Engine, page: str) -> None:
    """Nothing leads to what only the vehicle's own board can do, and nothing says what is true there alone."""
    client = client_of(fleet, "see")
    text = client.get(f"/vehicle/hilux-07/{page}").get_data(as_text=True)
    found = [unescape(link) for link in re.findall(r'(?:href|src|action)="([^"]+)"', text)]
    links = {link.partition("#")[0] for link in found if not link.startswith("data:")} - {""}
    assert len(links) > 15
    for link in links:
        assert client.get(link, follow_redirects=True).status_code == 200, link
    for word in ("systemctl", "this board", "from this phone", "ampledger report", "ampledger life", "board does not", "Your entries"):
        assert word not in text, word


@pytest.mark.parametrize(("silent_days", "said"), [(0.1, ""), (6.0, ""), (9.0, "Nothing has come from its board for 9")])
def test_a_vehicles_pages_are_old_when_nothing_came_for_long(fleet: Engine, silent_days: float, said: str) -> None:
    """A board that publishes twice a day is not reported as standing still."""
    with fleet.begin() as connection:
        connection.execute(update(vehicles).where(vehicles.c.name == "hilux-07").values(seen_utc_s=time.time() - silent_days * 86400))
    client = client_of(fleet, "see")
    text = client.get("/vehicle/hilux-07/").get_data(as_text=True)
    assert (said in text) if said else "NOT UPDATED" not in text
    assert client.get("/vehicle/hilux-07/api/v1/now").json["stale"] is bool(said)
    assert f"updated {age_words(silent_days * 86400)}" in text, "since its last batch came"


def test_a_board_that_sends_but_measures_nothing_new_is_said(fleet: Engine, published_log: Path, tmp_path: Path) -> None:
    log = store_fixture.fill(tmp_path / "real" / "ampledger.db", 0.2, beat_s=60.0, simulated=False)
    with fleet.begin() as connection:
        key = keys.enrol(connection, "van-11", NOW_UTC_S)
    Publisher(log, Straight(fleet, key), "board-b", "0.1.0").publish(lambda: NOW_UTC_S)
    with fleet.begin() as connection:
        connection.execute(update(vehicles).where(vehicles.c.name == "van-11").values(seen_utc_s=time.time()))
    assert "Its board sends nothing newer." in client_of(fleet, "see").get("/vehicle/van-11/").get_data(as_text=True)


def test_what_changes_a_vehicle_is_done_on_its_own_board(fleet: Engine) -> None:
    client = client_of(fleet)
    for page in ("more", "instruments", "battery", "code"):
        answer = client.get(f"/vehicle/hilux-07/{page}")
        assert answer.status_code == 403 and "on the vehicle's own board" in answer.get_data(as_text=True).replace("&#39;", "'"), page


def test_the_figures_of_the_list_are_those_of_the_vehicles_page(fleet: Engine) -> None:
    client = client_of(fleet, "see")
    listed = re.search(r"House battery</th><td>(\d+) %", client.get("/").get_data(as_text=True))
    own = re.sub(r"<[^>]+>|\s|&nbsp;", " ", client.get("/vehicle/hilux-07/").get_data(as_text=True))
    assert listed and re.search(rf"\b{listed[1]} *%", own)


def test_a_vehicle_that_is_not_there_is_a_sentence(fleet: Engine) -> None:
    client = client_of(fleet, "see")
    assert "No vehicle of this fleet is called ghost" in client.get("/vehicle/ghost/").get_data(as_text=True)
    assert client.get("/about/ghost").status_code == 404


def test_roles_are_kept_apart(fleet: Engine) -> None:
    see, acknowledge, administer = (client_of(fleet, role) for role in people.ROLES)
    assert "Mark as seen" not in see.get("/alerts").get_data(as_text=True)
    number = re.search(r"/alerts/hilux-07/(\d+)/seen", acknowledge.get("/alerts").get_data(as_text=True))
    assert number
    refused = post(see, "/", f"/alerts/hilux-07/{number[1]}/seen")
    assert refused.status_code == 403 and "needs the role “acknowledge”" in refused.get_data(as_text=True)
    assert post(acknowledge, "/", f"/alerts/hilux-07/{number[1]}/seen").status_code == 303
    assert "Seen by acknowledge" in see.get("/alerts").get_data(as_text=True)
    assert post(acknowledge, "/", "/about/hilux-07", model="AGM 100").status_code == 403
    assert post(administer, "/", "/about/hilux-07", model="AGM 100", delivery="March", fitted_on="2026-03-01").status_code == 303
    assert "delivery March" in see.get("/batteries").get_data(as_text=True)


@pytest.mark.parametrize("values", [{"fitted_on": "yesterday"}, {"fitted_on": "2026-03-01", "ended_on": "2025-03-01"}])
def test_impossible_days_change_nothing(fleet: Engine, values: dict[str, str]) -> None:
    client = client_of(fleet)
    answer = post(client, "/", "/about/hilux-07", model="AGM 100", **values)
    assert answer.status_code == 400 and "Nothing was changed." in answer.get_data(as_text=True)
    assert "AGM 100" not in client.get("/about/hilux-07").get_data(as_text=True)


def test_a_form_from_elsewhere_is_refused(fleet: Engine) -> None:
    client = client_of(fleet)
    assert client.post("/about/hilux-07", data={"model": "X"}).status_code == 403


def test_a_proxys_word_is_believed_from_the_proxy_alone(fleet: Engine) -> None:
    with fleet.begin() as connection:
        people.put(connection, "ada", "see")
    site = create_site(fleet, identity_header="X-Asks", proxy="10.1.1.1")
    client = Client(site)
    assert client.get("/", headers={"X-Asks": "ada"}, environ_base={"REMOTE_ADDR": "10.1.1.1"}).status_code == 200
    assert client.get("/", headers={"X-Asks": "ada"}, environ_base={"REMOTE_ADDR": "10.1.1.2"}).status_code == 303
    assert client.get("/", headers={"X-Asks": "nobody"}, environ_base={"REMOTE_ADDR": "10.1.1.1"}).status_code == 303
    with pytest.raises(ValueError, match="one address only"):
        create_site(fleet, identity_header="X-Asks")


def test_a_board_publishes_over_http(engine: Engine, published_log: Path) -> None:
    with engine.begin() as connection:
        key = keys.enrol(connection, "hilux-07", NOW_UTC_S)
    with _served(engine) as url:
        publisher = Publisher(published_log, Https(url, key, "board-a"), "board-a", "0.1.0")
        assert publisher.publish(lambda: NOW_UTC_S).batches > 0
        with pytest.raises(Refused, match="No vehicle has this key"):
            Publisher(published_log, Https(url, "amp-stranger", "board-a"), "board-a", "0.1.0").publish(lambda: NOW_UTC_S)
    assert_same(engine, published_log)


@pytest.mark.parametrize("data", [b"", b"junk", b"ampledger batch\n{}\n", b"ampledger batch\n[1]\n", b"ampledger batch\n" + b"{" * 2000,
                                  b'ampledger batch\n{"format": 99}\n', b"\x00" * 600_000])
def test_junk_is_one_sentence_and_changes_nothing(engine: Engine, data: bytes) -> None:
    with engine.begin() as connection:
        key = keys.enrol(connection, "hilux-07", NOW_UTC_S)
    answer = Client(create_site(engine)).post("/fleet/v1/batches", data=data, headers={"Authorization": f"Bearer {key}"})
    assert answer.status_code in (400, 413)
    assert answer.json["sentence"].endswith(".") and "Traceback" not in answer.json["sentence"]
    with engine.connect() as connection:
        assert keys.find(connection, "hilux-07").number == 0


def test_the_key_does_not_travel_in_the_open(engine: Engine) -> None:  # one engine is as good as another
    with pytest.raises(ValueError, match="must not travel in the open"):
        Https("http://fleet.example", "amp-key", "board-a")


@contextmanager
def _served(engine: Engine) -> Iterator[str]:
    class Quiet(WSGIRequestHandler):
        def log_message(self, *_) -> None: ...

    server = make_server("127.0.0.1", 0, create_site(engine), handler_class=Quiet)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
