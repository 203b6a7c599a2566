"""The door: names, headers, forms, the code and who may change anything."""
import re
import threading
import time
from pathlib import Path

import pytest
from werkzeug.security import generate_password_hash

from dashboard import actions, create_app, guard
from dashboard.guard import FREE_TRIES, Lockout
from monitor.store import requests

CODE = "three dull words"
#: Cheap parameters: the tests ask often. What `ampledger code` makes is dearer.
HASH = generate_password_hash(CODE, method="scrypt:1024:8:1")
AWAY = {"REMOTE_ADDR": "192.168.4.23"}


def token_of(html: str) -> str:
    return re.search(r'name="token" value="([^"]+)"', html)[1]


def first_alert(html: str) -> str:
    return re.search(r'action="(/alerts/\d+/acknowledge)"', html)[1]


def left(folder: Path) -> list[tuple[str, dict]]:
    return [(r.kind, r.values) for r in requests.take(folder)]


@pytest.mark.parametrize("address", ["/", "/api/v1/now", "/static/style.css", "/static/plotly/plotly-basic.min.js",
                                     "/nowhere", "/code"])
def test_every_answer_carries_the_policy(client, address: str) -> None:
    headers = client().get(address).headers
    policy = dict(part.split(" ", 1) for part in headers["Content-Security-Policy"].split("; "))
    assert policy["default-src"] == "'none'" and policy["script-src"] == "'self'" and policy["connect-src"] == "'self'"
    assert policy["frame-ancestors"] == "'none'" and policy["form-action"] == "'self'" and policy["base-uri"] == "'none'"
    assert "http" not in headers["Content-Security-Policy"]
    assert headers["X-Content-Type-Options"] == "nosniff" and headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin" and "Server" not in headers


@pytest.mark.parametrize("host, status", [
    ("localhost:21873", 200), ("127.0.0.1:21873", 200), ("[::1]:21873", 200), ("192.168.4.1", 200), ("van.lan", 200),
    ("evil.example", 421), ("127.0.0.1.evil.example", 421), ("", 421)])
def test_only_names_of_this_board_are_answered(client, host: str, status: int) -> None:
    """A page of a stranger's whose name is re-bound to this board asks under the stranger's name."""
    answer = client(names=["van.lan"]).get("/", headers={"Host": host})
    assert answer.status_code == status or (host == "" and answer.status_code == 400)


@pytest.mark.parametrize("kind", ["acknowledge", "undo"])
def test_what_the_daemon_answers_is_said_and_offered_to_be_undone(client, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind) -> None:
    monkeypatch.setattr(actions, "WAIT_S", 20.0)
    browser = client()
    page = browser.get("/alerts").text
    doors = requests.Doors(tmp_path / "ampledger.db")

    def answering(done: bool, said: str) -> threading.Thread:
        def answer() -> None:
            while not (asked := doors.take()):
                time.sleep(0.02)
            assert [r.kind for r in asked] == [kind]
            doors.answer(asked[0], done, said, 7 if done else None)

        thread = threading.Thread(target=answer)
        thread.start()
        return thread

    to = first_alert(page) if kind == "acknowledge" else "/entries/3/undo"
    thread = answering(True, "Alert 1 was marked as seen.")
    shown = browser.post(to, data={"token": token_of(page)}, follow_redirects=True).text
    thread.join()
    assert "Done." in shown and 'action="/entries/7/undo"' in shown
    thread = answering(False, "no open alert number 1.")
    refused = browser.post(to, data={"token": token_of(page)})
    thread.join()
    assert refused.status_code == 409 and "Nothing was changed." in refused.text and "No open alert number 1." in refused.text


def test_undoing_needs_our_form_and_the_code(client, tmp_path: Path) -> None:
    browser = client(code_hash=HASH)
    assert browser.post("/entries/3/undo", data={}, environ_base=AWAY).status_code in (400, 403)
    page = browser.get("/code", environ_base=AWAY).text
    assert "Nothing was changed yet" in browser.post("/entries/3/undo", data={"token": token_of(page)}, environ_base=AWAY).text
    assert left(tmp_path / "requests") == []


def test_on_the_board_itself_an_alert_is_acknowledged_without_a_code(client, tmp_path) -> None:
    browser = client()
    page = browser.get("/alerts").text
    answer = browser.post(first_alert(page), data={"token": token_of(page)})
    assert answer.status_code == 303
    number = int(first_alert(page).split("/")[2])
    assert left(tmp_path / "requests") == [("acknowledge", {"alert": number})]
    assert "Noted." in browser.get(answer.headers["Location"]).text


def test_all_that_went_away_is_marked_as_seen_at_one_press(client, tmp_path) -> None:
    browser = client()
    page = browser.get("/alerts").text
    gone = set(map(int, re.findall(r'action="/alerts/(\d+)/acknowledge"', page.split("<h2>Cleared</h2>")[1])))
    assert browser.post("/alerts/acknowledge-gone", data={"token": token_of(page)}).status_code == 303
    assert len(gone) >= 2 and {values["alert"] for _, values in left(tmp_path / "requests")} == gone


def test_an_alert_is_put_aside_for_a_bounded_time(client, tmp_path) -> None:
    browser = client()
    page = browser.get("/alerts").text
    address = re.search(r'action="(/alerts/\d+/shelve)"', page)[1]
    for hours in ("0", "-1", "169", "99999", "4.5", "soon", ""):
        assert browser.post(address, data={"token": token_of(page), "hours": hours}).status_code == 400
    assert left(tmp_path / "requests") == []
    assert browser.post(address, data={"token": token_of(page), "hours": "24"}).status_code == 303
    ((kind, values),) = left(tmp_path / "requests")
    assert kind == "shelve" and values["for_s"] == 86400.0


def test_without_a_code_nobody_on_the_network_changes_anything(client, tmp_path) -> None:
    browser = client()
    page = browser.get("/alerts", environ_base=AWAY).text
    answer = browser.post(first_alert(page), data={"token": token_of(page)}, environ_base=AWAY)
    assert answer.status_code == 403 and "needs a code, and none is set" in answer.text
    assert left(tmp_path / "requests") == []


def test_with_a_code_set_even_the_board_itself_needs_it(client, tmp_path) -> None:
    browser = client(code_hash=HASH)
    page = browser.get("/alerts").text
    assert "you need the access code" in page
    assert browser.post(first_alert(page), data={"token": token_of(page)}).status_code == 403
    form = browser.get("/code").text
    assert browser.post("/code", data={"token": token_of(form), "code": "guess"}).status_code == 403
    assert browser.post("/code", data={"token": token_of(form), "code": CODE}).status_code == 303
    page = browser.get("/alerts", environ_base=AWAY).text
    assert browser.post(first_alert(page), data={"token": token_of(page)}, environ_base=AWAY).status_code == 303
    assert len(left(tmp_path / "requests")) == 1


def test_the_session_cookie_is_out_of_reach_of_scripts_and_other_sites(client) -> None:
    browser = client(code_hash=HASH)
    cookie = browser.get("/code").headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert HASH not in cookie and CODE not in cookie


def test_a_session_of_one_process_is_worth_nothing_to_the_next(make_log, tmp_path) -> None:
    first = create_app(make_log("simulated"), requests_folder=tmp_path, code_hash=HASH).test_client()
    first.post("/code", data={"token": token_of(first.get("/code").text), "code": CODE})
    cookie = first.get_cookie("ampledger").value
    second = create_app(make_log("simulated"), requests_folder=tmp_path, code_hash=HASH).test_client()
    second.set_cookie("ampledger", cookie)
    page = second.get("/alerts").text
    assert second.post(first_alert(page), data={"token": token_of(page)}).status_code == 403


@pytest.mark.parametrize("data, headers", [
    ({}, {}), ({"token": ""}, {}), ({"token": "made-up"}, {}), ({"token": "\u2603"}, {}),
    ({"token": "RIGHT"}, {"Sec-Fetch-Site": "cross-site"}), ({"token": "RIGHT"}, {"Sec-Fetch-Site": "same-site"})])
def test_a_form_that_is_not_ours_changes_nothing(client, tmp_path, data: dict, headers: dict) -> None:
    browser = client()
    page = browser.get("/alerts").text
    sent = {k: token_of(page) if v == "RIGHT" else v for k, v in data.items()}
    answer = browser.post(first_alert(page), data=sent, headers=headers)
    assert answer.status_code == 403 and "Nothing was changed." in answer.text
    assert left(tmp_path / "requests") == []


def test_nothing_is_changed_by_following_a_link(client) -> None:
    assert client().get("/alerts/1/acknowledge").status_code == 405
    assert client().get("/alerts/1/shelve").status_code == 405


def test_guessing_the_code_is_slowed_down_for_one_address_and_for_all(client) -> None:
    browser = client(code_hash=HASH)
    token = token_of(browser.get("/code").text)
    said = [browser.post("/code", data={"token": token, "code": f"guess {i}"}, environ_base=AWAY).text
            for i in range(FREE_TRIES + 1)]
    assert "That is not the code." in said[0] and "Try again in" in said[-1]
    assert "Try again in" in browser.post("/code", data={"token": token, "code": CODE}, environ_base=AWAY).text
    assert browser.post("/code", data={"token": token, "code": CODE}).status_code == 303  # another address


def test_the_wait_doubles_is_bounded_and_ends(client) -> None:
    now = [0.0]
    lockout = Lockout(lambda: now[0])
    waits = []
    for _ in range(30):
        lockout.wrong("a")
        waits.append(lockout.wait_s("a"))
    assert waits[FREE_TRIES - 2] == 0 and waits[FREE_TRIES - 1] == 30 and waits[FREE_TRIES] == 60 and max(waits) == 3600
    now[0] += 3601
    assert lockout.wait_s("a") == 0
    for i in range(3000):
        lockout.wrong(f"stranger {i}")
    assert lockout.wait_s("someone new") > 0 and len(lockout._wrong) <= 502


def test_reading_needs_the_code_where_asked_for(client) -> None:
    browser = client(code_hash=HASH, code_to_read=True)
    assert browser.get("/").status_code == 401 and "12.7" not in browser.get("/").text
    assert browser.get("/api/v1/now").status_code == 401
    assert browser.get("/static/style.css").status_code == 200
    browser.post("/code", data={"token": token_of(browser.get("/code").text), "code": CODE})
    assert browser.get("/").status_code == 200


def test_a_code_for_reading_without_a_code_is_refused_at_the_start(make_log) -> None:
    with pytest.raises(ValueError, match="ampledger code"):
        create_app(make_log("simulated"), code_to_read=True)


@pytest.mark.parametrize("name", ["../guard.py", "..%2fguard.py", "/etc/passwd", "%2e%2e/guard.py", "style.css/", "plotly"])
def test_only_our_own_files_are_served(client, name: str) -> None:
    assert client().get(f"/static/{name}").status_code in (404, 308, 400)


def test_a_form_of_megabytes_is_refused(client) -> None:
    assert client().post("/code", data={"code": "x" * 100_000}).status_code == 413


def test_the_bundle_is_packed_and_kept_for_a_year_under_its_mark(client) -> None:
    browser = client()
    html = browser.get("/log").text
    address = re.search(r'data-library="(/static/plotly/[^"]+)"', html)[1].replace("&amp;", "&")
    answer = browser.get(address, headers={"Accept-Encoding": "gzip"})
    assert answer.headers["Content-Encoding"] == "gzip" and "immutable" in answer.headers["Cache-Control"]
    assert len(answer.data) < 450_000 < len(browser.get(address).data)
    assert browser.get(address, headers={"If-None-Match": answer.headers["ETag"]}).status_code == 304
    assert "immutable" not in browser.get(address.partition("?")[0]).headers["Cache-Control"]


def test_a_phone_sets_the_clock_while_nobody_has_confirmed_it(client, tmp_path) -> None:
    browser = client("unsure")
    assert "CLOCK NOT CONFIRMED" in browser.get("/").text
    page = browser.get("/about").text
    assert "give or take" in page and "Set the clock from this phone" in page
    for told in ("", "soon", "-1", "1e12", "17820000000000000000000000", "9" * 5000, "100"):
        assert browser.post("/clock", data={"token": token_of(page), "utc_ms": told}).status_code == 400
    assert left(tmp_path / "requests") == []
    answer = browser.post("/clock", data={"token": token_of(page), "utc_ms": "1800000000250"})
    assert answer.status_code == 303 and "Noted." in browser.get(answer.headers["Location"]).text
    ((kind, values),) = left(tmp_path / "requests")
    assert kind == "set_clock" and values["utc_s"] == 1800000000.25 and values["sigma_s"] == 2.0
    assert 0 <= time.clock_gettime(time.CLOCK_BOOTTIME) - values["asked_boot_s"] < 60


def test_a_confirmed_or_invented_clock_asks_for_no_phone(client) -> None:
    for kind in ("real", "simulated"):
        assert "CLOCK NOT CONFIRMED" not in client(kind).get("/").text
        assert "from this phone" not in client(kind).get("/about").text


def test_setting_the_clock_needs_our_form_and_the_code(client, tmp_path) -> None:
    browser = client("unsure", code_hash=HASH)
    assert browser.post("/clock", data={"utc_ms": "1800000000250"}).status_code == 403
    assert 'href="/code?to=about"' in browser.get("/about").text
    token = token_of(browser.get("/code?to=about").text)
    assert browser.post("/clock", data={"token": token, "utc_ms": "1800000000250"}).status_code == 403
    assert left(tmp_path / "requests") == []
    answer = browser.post("/code?to=about", data={"token": token, "code": CODE})
    assert answer.headers["Location"].endswith("/about")
    page = browser.get("/about").text
    assert browser.post("/clock", data={"token": token_of(page), "utc_ms": "1800000000250"}).status_code == 303
    assert [kind for kind, _ in left(tmp_path / "requests")] == ["set_clock"]


def test_wrong_codes_are_forgotten_in_time_and_a_right_one_clears_those_of_everybody() -> None:
    """Slips of a year do not add up to a lockout; a guesser is still slowed down, whatever addresses it has."""
    clock = [0.0]
    lockout = guard.Lockout(lambda: clock[0])
    for slip in range(400):  # one every half an hour, from many phones
        lockout.wrong(f"192.0.2.{slip % 200}")
        clock[0] += 1800.0
        assert lockout.wait_s("192.0.2.1") == 0.0
    for guess in range(60):
        lockout.wrong(f"198.51.100.{guess}")
    assert lockout.wait_s("203.0.113.9") == guard.LONGEST_WAIT_S
    lockout.right("192.0.2.1")
    assert lockout.wait_s("203.0.113.9") == 0.0
    tried, until = 0, clock[0] + 30 * 86400.0
    while clock[0] < until:  # a month of guessing as fast as it is let
        lockout.wrong("198.51.100.7")
        tried += 1
        clock[0] += max(lockout.wait_s("198.51.100.7"), 1.0)
    assert tried < 30 * 60


def test_signing_out_forgets_the_code_on_this_phone_or_on_all(make_log, tmp_path) -> None:
    app = create_app(make_log("simulated"), requests_folder=tmp_path, code_hash=HASH)
    one, other = app.test_client(), app.test_client()
    for browser in (one, other):
        page = browser.get("/code").text
        assert browser.post("/code", data={"token": token_of(page), "code": CODE}).status_code == 303
        assert "Sign out" in browser.get("/about").text
    assert one.post("/sign-out", data={"token": "wrong"}).status_code == 403
    answer = one.post("/sign-out", data={"token": token_of(one.get("/about").text)})
    assert answer.status_code == 303 and "Signed out." in one.get(answer.headers["Location"]).text
    assert "Sign out" not in one.get("/about").text and "Sign out" in other.get("/about").text
    page = one.get("/code").text
    one.post("/code", data={"token": token_of(page), "code": CODE})
    one.post("/sign-out", data={"token": token_of(one.get("/about").text), "everywhere": "1"})
    assert "Sign out" not in other.get("/about").text
