"""The pages of jobs: each answers over every kind of log, refuses in words, and leaves the work to somebody else."""
import gzip
import json
import re
import shutil
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from werkzeug.security import generate_password_hash

from dashboard import create_app
from dashboard.jobs.background import KEPT, Background
from dashboard.jobs.more_page import QUESTIONS
from dashboard.jobs.what_if_page import describe_candidate
from monitor.alerts import rules
from monitor.alerts.spool import Spool, Waiting
from monitor.findings import Condition, Estimate
from monitor.logbook import live_readings
from monitor.logbook.reader import Reader
from monitor.planning import candidates, from_log, whatif
from monitor.store import checksum, requests, saving
from monitor.store.self_watch import Job, SelfWatchState
from monitor.wear.capacity_test import CapacityTestRun
from monitor.wear.watched_test import WatchedTest
from tests.dashboard.test_pages import Text

JOBS = ("/more", "/what-if", "/plan", "/battery", "/report", "/download", "/download?every=hours", "/capacity-test", "/board",
        "/instruments", "/loads", "/label", "/label?text=55B24R&tray=250x140x250",
        "/second-battery", "/second-battery?label=70Ah&watts1=45&hours1=10")
LOGS = ("simulated", "real", "old", "unsure", "empty")


def token(client, page: str) -> str:
    """What a form of a page brings back."""
    return re.search(r'name="token" value="([^"]+)"', client.get(page).text)[1]


def wait(client, address: str, bound_s: float = 120.0) -> None:
    """Until the work under an address is over."""
    end = time.monotonic() + bound_s
    while not client.get(f"{address}/state").json["over"]:
        assert time.monotonic() < end, "not over in time"
        time.sleep(0.1)


@pytest.mark.parametrize("log", LOGS)
@pytest.mark.parametrize("page", JOBS)
def test_a_job_s_page_is_there_whatever_the_log_is_like(client, page: str, log: str) -> None:
    answer = client(log).get(page)
    seen = Text(answer.text)
    assert answer.status_code == 200 and len(answer.data) < 150_000
    assert not re.search(r"\bNone\b|\bnan\b|Undefined|[{}]{2}", seen.text)
    assert not [a for a in seen.addresses if a.startswith(("http:", "https:", "//"))] and not seen.handlers and not seen.inline_scripts


def test_every_job_is_one_tap_from_more_and_more_from_every_page(client) -> None:
    board = client()
    more = Text(board.get("/more").text)
    assert "It will not start" in more.text and "What do I buy?" in more.text
    for address in more.addresses:
        assert board.get(address).status_code == 200, address
    assert all("/more" in Text(board.get(page).text).addresses for page in ("/", "/log", "/starting-help", "/what-if"))
    assert sum(len(rows) for rows in QUESTIONS.values()) >= 10


@pytest.mark.parametrize("log", ["missing", "damaged", "letter"])
def test_more_is_there_when_the_log_cannot_be_read(client, log: str) -> None:
    assert client(log).get("/more").status_code == 200


def test_what_if_works_it_out_beside_the_pages_and_says_what_the_command_says(full: Path, client) -> None:
    board = client()
    left = {"token": token(board, "/what-if"), "a-capacity": "120", "a-chemistry": "lfp", "b-sun": "1,5", "days": "3"}
    answer = board.post("/what-if", data=left)
    assert answer.status_code == 303
    address = answer.headers["Location"]
    assert board.get("/more").status_code == 200      # meanwhile
    wait(board, address)
    shown = Text(board.get(address).text).text
    expected = _asked_directly(full, ["chemistry=lfp,capacity=120", "sun=1.5"])
    for answer in expected:
        low = f"{100 * answer.lowest_frac.value:.0f} % ({100 * answer.lowest_frac.low:.0f}–{100 * answer.lowest_frac.high:.0f})"
        assert low in shown, low
        assert f"{answer.cycles_per_year.value:.0f} ({answer.cycles_per_year.low:.0f}–{answer.cycles_per_year.high:.0f})" in shown
    assert "hint, no more" in shown                   # the log's own weight
    page = board.get(address).text
    assert page.count("<svg class=\"ranges\"") == 3 and "Today&#39;s set-up: " in page
    assert address in Text(board.get("/what-if").text).addresses       # kept and linkable
    assert board.post("/what-if", data=left).headers["Location"] == address     # the same question is not worked out twice


def _asked_directly(database: Path, texts: list[str]) -> list[whatif.CandidateResult]:
    reader = Reader(database)
    now = reader.now()
    capacity = now.findings.charge.capacity_ah
    assert isinstance(capacity, Estimate)
    life, known = from_log.describe_present(reader.rows_of_level("quarters", now.utc_s - 3 * 86400.0), now.vehicle, now.findings.charge,
                                            capacity, time.localtime(now.utc_s).tm_gmtoff / 3600)
    slots, rms = whatif.explain(life, known)
    return whatif.ask(slots, known, [candidates.setup(known.setup, text) for text in texts], rms)


@pytest.mark.parametrize(("given", "said"), [
    ({}, "fill in at least one figure"), ({"a-capacity": "much"}, "capacity = &#39;much&#39; is not a number"),
    ({"a-reserve": "140"}, "reserve must be below 100"), ({"a-sun": "-2"}, "must be above 0"),
    ({"a-sun": "2", "days": "2"}, "from 3 to 730"),
    ({"a-chemistry": "bread"}, "write flooded, agm")])
def test_what_if_refuses_in_a_sentence_and_keeps_what_was_typed(client, given: dict, said: str) -> None:
    board = client()
    answer = board.post("/what-if", data={"token": token(board, "/what-if"), **given})
    assert answer.status_code == 400
    assert said.lower() in answer.text.lower()
    for name, value in given.items():
        if name != "a-chemistry":
            assert f'name="{name}" value="{value}"' in answer.text


def test_what_if_asks_for_the_form_s_own_token_and_knows_only_its_own_answers(client) -> None:
    board = client()
    board.get("/what-if")
    assert board.post("/what-if", data={"a-sun": "2"}).status_code == 403
    for name in ("0" * 12, "..%2f..%2fetc", "whatif-000000000000.json", "zzz"):
        assert board.get(f"/what-if/{name}").status_code == 404
        assert board.get(f"/what-if/{name}/state").status_code == 404


def test_a_set_up_in_words() -> None:
    assert describe_candidate("loads=0.8,reserve=20") == "use × 0.8, reserve 20 %"
    assert describe_candidate("") == ""


def test_one_piece_of_work_at_a_time_with_its_progress_and_a_bounded_number_of_results(tmp_path: Path) -> None:
    work = Background(tmp_path)
    module = "tests.dashboard.slow_stand_in"
    assert work.start("a" * 12, "job-aaaaaaaaaaaa.json", module, ["--seconds", "0.6"])
    assert work.start("a" * 12, "job-aaaaaaaaaaaa.json", module, ["--seconds", "0.6"])       # it is at it
    assert not work.start("b" * 12, "job-bbbbbbbbbbbb.json", module, [])                     # no second one beside it
    seen = []
    end = time.monotonic() + 30
    while work.busy and time.monotonic() < end:
        seen.append(work.stage("a" * 12, "job-aaaaaaaaaaaa.json").done_frac)
        time.sleep(0.02)
    assert 0.5 in seen
    assert json.loads(work.stage("a" * 12, "job-aaaaaaaaaaaa.json").file.read_text()) == {"seconds": 0.6}
    assert work.start("c" * 12, "job-cccccccccccc.json", module, ["--fail", "It cannot be."])
    while work.busy:
        time.sleep(0.02)
    assert work.stage("c" * 12, "job-cccccccccccc.json").why == "It cannot be."
    for number in range(KEPT + 5):
        (tmp_path / f"job-{number:012x}.json").write_text("{}")
    assert work.start("d" * 12, "job-dddddddddddd.json", module, [])
    while work.busy:
        time.sleep(0.02)
    assert len(work.list_results("job")) == KEPT and work.list_results("job")[0][0] == "d" * 12


def test_a_report_is_made_opened_and_saved(client) -> None:
    board = client()
    answer = board.post("/report", data={"token": token(board, "/report")})
    address = answer.headers["Location"]
    wait(board, address)
    opened = board.get(f"{address}/house-battery.html")
    assert opened.status_code == 200 and "House battery" in opened.text and len(opened.data) > 100_000
    policy = opened.headers["Content-Security-Policy"]
    assert "sandbox" in policy and "allow-same-origin" not in policy and "default-src 'none'" in policy
    assert "sandbox" not in board.get("/report").headers["Content-Security-Policy"]
    saved = board.get(f"{address}/house-battery.html?save=1")
    assert re.search(r'filename="house-battery-\d{4}-\d\d-\d\d.html"', saved.headers["Content-Disposition"])
    assert address in Text(board.get("/report").text).addresses
    assert "Open it" in board.get(address).text and "print" in board.get(address).text
    assert board.get("/report/000000000000/house-battery.html").status_code == 404


@pytest.mark.parametrize("every", ["minutes", "hours", "days", "raw", "recording"])
def test_a_download_is_the_command_s_own_csv(full: Path, client, every: str) -> None:
    board = client()
    shown = Text(board.get(f"/download?every={every}&from=2026-06-01&to=2026-07-01").text)
    address = next(a for a in shown.addresses if a.startswith("/download/ampledger.csv"))
    plain = board.get(address)
    assert plain.status_code == 200 and plain.mimetype == "text/csv"
    assert plain.headers["Content-Disposition"] == f'attachment; filename="ampledger-{every}-2026-06-01-to-2026-07-01.csv"'
    told = subprocess.run([sys.executable, "-m", "monitor", "export", "--database", full, "--every", every], stdout=subprocess.PIPE,
                          check=True)
    assert plain.data == told.stdout
    packed = board.get(address, headers={"Accept-Encoding": "gzip"})
    assert packed.headers["Content-Encoding"] == "gzip" and gzip.decompress(packed.data) == told.stdout
    rows, size = told.stdout.count(b"\n") - 1, len(told.stdout)
    said = re.search(r"about ([\d,]+) rows", shown.text)
    assert 0.7 * rows - 2 <= float(said[1].replace(",", "")) <= 1.4 * rows + 2
    value, unit = re.search(r"about ([\d.]+) (kB|MB), ", shown.text).groups()
    assert 0.6 * size - 1000 <= float(value) * (1e6 if unit == "MB" else 1e3) <= 1.6 * size + 1000


@pytest.mark.parametrize(("query", "said"), [("every=years", "is none of"), ("from=yesterday", "is not a day"),
                                             ("from=2026-06-03&to=2026-06-01", "after the last one"), ("from=0001-01-01", "no such year")])
def test_a_download_that_cannot_be_is_refused_in_a_sentence(client, query: str, said: str) -> None:
    board = client()
    assert said in Text(board.get(f"/download?{query}").text).text
    assert board.get(f"/download/ampledger.csv?{query}").status_code == 400


def test_one_download_at_a_time_and_the_next_when_it_is_over(client) -> None:
    board = client()
    first = board.get("/download/ampledger.csv?every=raw", buffered=False)
    second = board.get("/download/ampledger.csv?every=days")
    assert second.status_code == 503 and "Another download" in second.text
    first.close()
    assert board.get("/download/ampledger.csv?every=days").status_code == 200


def note(database: Path, **words: str) -> None:
    """Writes words about a log into it, as the daemon does."""
    with closing(sqlite3.connect(database)) as log, log:
        for row in words.items():
            log.execute("insert or replace into meta (name, value, crc) values (?, ?, ?)", (*row, checksum.checksum_of("meta")(row)))


def asked(folder: Path) -> list[requests.Request]:
    return requests.take(folder)


def test_a_new_battery_is_recorded_named_and_asked_for_with_the_code_only(client, tmp_path: Path) -> None:
    board = client()
    page = Text(board.get("/battery").text)
    assert "AGM, 60 Ah" in page.text and "disconnect the negative lead first" in page.text
    left = {"token": token(board, "/battery"), "battery": "house", "capacity": "120,5", "chemistry": "lfp", "label": "the blue one"}
    assert board.post("/battery/replaced", data=left).status_code == 303
    (one,) = asked(tmp_path / "requests")
    assert one.kind == "battery_replaced"
    assert one.values == {"battery": "house", "rated_capacity_ah": 120.5, "chemistry": "lfp", "label": "the blue one", "at_utc_s": None}
    assert board.post("/battery/described", data=left | {"day": "2024-05-01"}).status_code == 303
    (two,) = asked(tmp_path / "requests")
    assert two.kind == "battery_described" and time.localtime(two.values["installed_utc_s"])[:4] == (2024, 5, 1, 12)
    for wrong, said in (({"battery": "other"}, "Say which battery"), ({"capacity": "big"}, "write a number"),
                        ({"capacity": "-4"}, "from 1 to 2000"), ({"day": "2999-01-01"}, "not a day that has been"),
                        ({"day": "soon"}, "is not a day"), ({"chemistry": "tin"}, "no chemistry")):
        answer = board.post("/battery/replaced", data=left | wrong)
        assert answer.status_code == 400 and said.lower() in Text(answer.text).text.lower(), wrong
    assert asked(tmp_path / "requests") == []
    closed = client(code_hash=generate_password_hash("1234"))
    assert "Enter the code" in closed.get("/battery").text and "/battery/replaced" not in closed.get("/battery").text
    closed.get("/code?to=battery")
    given = {"token": token(closed, "/code?to=battery")}
    assert closed.post("/battery/replaced", data=left | given).status_code == 403
    assert asked(tmp_path / "requests") == []
    assert closed.post("/code?to=battery", data=given | {"code": "1234"}).headers["Location"] == "/battery"
    again = {"token": token(closed, "/battery")}
    assert closed.post("/battery/replaced", data=left | again).status_code == 303


def test_a_capacity_test_is_begun_shown_on_every_page_and_ended(full: Path, client, tmp_path: Path) -> None:
    board = client()
    page = Text(board.get("/capacity-test").text).text
    assert "Stay within reach" in page and "loads of 2 to 6 A" in page and "10.5 V" in page
    left = {"token": token(board, "/capacity-test"), "stop_v": "10,8", "to_reserve": "1"}
    assert board.post("/capacity-test/begin", data=left).status_code == 303
    (one,) = asked(tmp_path / "requests")
    assert (one.kind, one.values) == ("begin_capacity_test", {"stop_v": 10.8, "to_reserve": 1})
    assert board.post("/capacity-test/begin", data=left | {"stop_v": "3"}).status_code == 400
    assert asked(tmp_path / "requests") == []
    at_work = WatchedTest("Anna", 0.0, 10.5, None, CapacityTestRun("running", "", 0.0, 7200.0, 12.3, current_a=-6.0, rate_a=6.1,
                                                                   voltage_v=12.31))
    database = tmp_path / "ampledger.db"
    shutil.copytree(full.parent, tmp_path, dirs_exist_ok=True)
    note(database, capacity_test=saving.to_text(at_work))
    other = create_app(database, requests_folder=tmp_path / "requests").test_client()
    for path in ("/", "/log", "/more"):
        assert "Capacity test running for 2.0 h: 12.3 Ah drawn, 12.31 V." in Text(other.get(path).text).text
    shown = other.get("/capacity-test")
    assert "asked for by Anna" in shown.text and "Follow a test</button>" not in shown.text and 'http-equiv="refresh"' in shown.text
    assert other.post("/capacity-test/end", data={"token": token(other, "/capacity-test")}).status_code == 303
    assert [r.kind for r in asked(tmp_path / "requests")] == ["end_capacity_test"]


def test_the_board_s_page_says_what_the_self_watch_knows_worst_first_and_sends_a_test(full: Path, tmp_path: Path) -> None:
    database = tmp_path / "ampledger.db"
    shutil.copytree(full.parent, tmp_path, dirs_exist_ok=True)
    now_s = Reader(database).now().at_s
    watch = SelfWatchState((Job("backup", now_s - 5 * 86400), Job("check", now_s, "hour 12 is damaged", now_s)), (now_s - 60,) * 4)
    note(database, self_watch=saving.to_text(watch), channels="journal command")
    change = rules.update(rules.begin(), (Condition("house_low", "house", True, "high"),), 1.0).news[0]
    Spool(tmp_path / "undelivered.json").write((Waiting(change, "command", 3, 0.0, 0.0, "no network"),))
    board = create_app(database, requests_folder=tmp_path / "requests").test_client()
    page = board.get("/board").text
    text = Text(page).text
    assert "4 things need attention." in text
    assert text.index("failed: hour 12 is damaged") < text.index("Last copy") < text.index("Room on the card")
    assert "4 in a week" in text and "1 not delivered by command" in text and "no network" in text
    assert "the journal of this board, your command" in text
    assert board.post("/board/test-message", data={"token": token(board, "/board")}).status_code == 303
    assert board.post("/clock", data={"token": token(board, "/board"), "to": "board", "utc_ms": "1790000000000"}).headers["Location"] == (
        "/board?told=left")
    assert [r.kind for r in asked(tmp_path / "requests")] == ["test_alerts", "set_clock"]


def test_instruments_are_compared_with_a_multimeter_and_the_shunt_is_asked_for_by_its_steps(full: Path, client, tmp_path: Path) -> None:
    board = client()
    latest = Reader(full).now().sample
    right = Text(board.get(f"/instruments?battery=house&meter_v={latest.house_voltage_v:.2f}").text).text
    assert "The house voltage is right" in right
    high = f"{1.05 * latest.house_voltage_v:.2f}"
    wrong = Text(board.get(f"/instruments?battery=house&meter_v={high.replace('.', ',')}").text).text
    off_pct = float(re.search(r"posts have [\d,]+ V: ([\d.]+) % off", wrong)[1])
    assert off_pct == pytest.approx(5.0, abs=0.2) and "Compare and keep" in wrong
    for query, said in (("battery=roof&meter_v=12", "Say which battery"), ("battery=house&meter_v=x", "is not a number"),
                        ("battery=house&meter_v=24.5", "is not what a 12 V battery shows")):
        answer = board.get(f"/instruments?{query}")
        assert answer.status_code == 400 and said in Text(answer.text).text
    left = {"token": token(board, "/instruments")}
    assert board.post("/instruments/zero", data=left).status_code == 303
    assert board.post("/instruments/gain", data=left | {"meter_a": "-12,4"}).status_code == 303
    assert board.post("/instruments/divider", data=left | {"battery": "starter", "meter_v": "12,71"}).status_code == 303
    for way in ("load", "charger"):
        assert board.post("/instruments/direction", data=left | {"direction": way}).status_code == 303
    assert board.post("/instruments/which", data=left).status_code == 303
    zero, gain, divider, load, charger, which = asked(tmp_path / "requests")
    assert divider.kind == "calibrate_divider" and divider.values == {
        "battery": "starter", "meter_v": 12.71, "digit_v": 0.01, "limit_frac": 0.005}
    assert [(r.kind, r.values) for r in (load, charger, which)] == [
        ("calibrate_direction", {"discharging": 1}), ("calibrate_direction", {"discharging": 0}), ("identify_by_start", {})]
    assert (zero.kind, zero.values) == ("calibrate_zero", {"minutes": 2.0})
    assert gain.kind == "calibrate_gain" and gain.values["meter_a"] == -12.4 and gain.values["digit_a"] == 0.1
    assert board.post("/instruments/gain", data=left).status_code == 400
    for wrong_form in ({"battery": "roof", "meter_v": "12"}, {"battery": "house", "meter_v": "x"}):
        assert board.post("/instruments/divider", data=left | wrong_form).status_code == 400
    only = board.post("/instruments/divider", data=left | {"battery": "house", "meter_v": f"{latest.house_voltage_v:.2f}", "only": "1"})
    assert "The house voltage is right" in Text(only.text).text and asked(tmp_path / "requests") == []
    lead = Text(board.get(f"/instruments?under_load_v={latest.house_voltage_v:.2f}").text).text
    assert "too little to see a drop" in lead or "is in order" in lead
    closed = client(code_hash=generate_password_hash("1234"))
    assert "/instruments/zero" not in closed.get("/instruments").text and "/instruments/divider" not in closed.get("/instruments").text
    assert board.get("/instruments/readings").json == {}, "no daemon runs beside this log"


def test_what_the_instruments_show_at_this_beat_stands_beside_each_question(full: Path, client, tmp_path: Path, monkeypatch) -> None:
    (tmp_path / "run").mkdir()
    monkeypatch.setenv("AMPLEDGER_RUNTIME_FOLDER", str(tmp_path / "run"))
    live_readings.LiveReadingsFile(full).write({"house_voltage_v": 12.345, "house_current_a": -3.21}, {"starter_voltage_v": 2.541})
    board = client()
    assert board.get("/instruments/readings").json == {
        "house_voltage_v": "12.35 V", "house_current_a": "−3.21 A", "starter_voltage_v": "2.541 V at the channel"}
    page = board.get("/instruments").text
    assert 'House voltage now: <b data-reading="house_voltage_v">12.35 V</b>' in page
    assert page.count('data-reading="house_current_a">−3.21 A') == 4, "in the table, and beside zero, direction and gain"
    assert "its divider is not known yet" in page


def test_loads_are_listed_and_a_name_is_asked_for(full: Path, client, tmp_path: Path) -> None:
    found = Reader(full).now().findings.named.loads
    assert found, "the fixture's fridge comes and goes"
    board = client()
    page = board.get("/loads")
    seen = Text(page.text).text
    # the fixture's fridge takes 4.0 A beside 0.5 A that never sleep, ten minutes of every thirty
    assert "for a name" in seen and re.search(r"3\.[45] A", seen) and "every 30 min" in seen
    number = found[0].number
    left = {"token": token(board, "/loads"), "to": "loads"}
    assert board.post(f"/loads/{number}/name", data=left | {"name": " fridge "}).status_code == 303
    assert [(r.kind, r.values) for r in asked(tmp_path / "requests")] == [("name_load", {"load": number, "name": "fridge"})]
    closed = client(code_hash=generate_password_hash("1234"))
    assert f"/loads/{number}/name" not in closed.get("/loads").text
    assert closed.post(f"/loads/{number}/name", data=left | {"name": "fridge"}).status_code in (400, 403)
