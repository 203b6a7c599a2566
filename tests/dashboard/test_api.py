"""The JSON against its own OpenAPI description, and whatever a stranger may ask of it."""
import json
from pathlib import Path

import jsonschema
import plotly.graph_objects as go
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dashboard import create_app
from dashboard.openapi import DESCRIPTION
from monitor.alerts.rules import Alert
from monitor.store import checksum, saving
from monitor.store.open_log import OpenLog

GETS = [path for path in DESCRIPTION["paths"] if not path.endswith("openapi.json")]


def held_against(path: str, status: int, answer: object) -> None:
    schema = DESCRIPTION["paths"][path]["get"]["responses"][str(status)]["content"]["application/json"]["schema"]
    jsonschema.Draft202012Validator(schema | {"components": DESCRIPTION["components"]}).validate(answer)


@pytest.mark.parametrize("path", GETS)
@pytest.mark.parametrize("kind", ["simulated", "real", "unsure"])
def test_every_answer_is_what_its_description_says(client, path: str, kind: str) -> None:
    answer = client(kind).get(path)
    assert answer.status_code == 200
    held_against(path, 200, answer.json)


@pytest.mark.parametrize("path", GETS)
@pytest.mark.parametrize("kind", ["empty", "missing", "letter", "damaged"])
def test_every_refusal_is_described_too(client, path: str, kind: str) -> None:
    answer = client(kind).get(path)
    assert answer.status_code in (200, 404, 503)
    held_against(path, answer.status_code, answer.json)


def test_the_description_is_served_names_every_address_and_every_reference_leads_somewhere(client) -> None:
    served = client().get("/api/v1/openapi.json").json
    assert served == json.loads(json.dumps(DESCRIPTION)) and served["openapi"].startswith("3.1")
    routes = {rule.rule for rule in client().application.url_map.iter_rules() if rule.rule.startswith("/api/")}
    assert routes == set(served["paths"])
    text = json.dumps(served)
    names = {part.split('"')[0] for part in text.split("#/components/schemas/")[1:]}
    assert names <= set(served["components"]["schemas"])
    for schema in served["components"]["schemas"].values():
        jsonschema.Draft202012Validator.check_schema(schema)


def test_figures_of_a_real_log_pass_plotlys_schema(client) -> None:
    for path in ("log?span=all", "log?span=hour", "tonight", "starter"):
        go.Figure(client().get(f"/api/v1/figures/{path}").json)
        go.Figure(client().get(f"/api/v1/figures/{path}{'&' if '?' in path else '?'}ink=night&points=50").json)


def test_columns_of_a_series_are_of_one_length_and_in_order(client) -> None:
    answer = client().get("/api/v1/series?span=all&points=200").json
    lengths = {len(v) for v in answer.values() if isinstance(v, list)}
    assert len(lengths) == 1 and lengths.pop() > 20
    assert answer["at_utc_s"] == sorted(answer["at_utc_s"])


def test_page_and_json_say_the_same_sentence(client) -> None:
    said = client().get("/api/v1/now").json["sentences"]
    now, tonight = (client().get(page).text.replace("&#39;", "'") for page in ("/", "/tonight"))
    for text in (now, tonight):
        assert said["tonight_headline"] in text and said["tonight"].removeprefix(said["tonight_headline"]).strip() in text
    assert said["starter_headline"] in now and all(act in now for act in said["to_do"].split(" Or: "))
    assert said["starter"] in client().get("/starter").text


@pytest.mark.parametrize("query", ["points=9", "points=2001", "points=-5", "points=1e3", "points=", "points=١٢٣"])
def test_a_number_of_points_that_makes_no_sense_is_refused(client, query: str) -> None:
    answer = client().get(f"/api/v1/series?{query}")
    assert answer.status_code == 400 and "points" in answer.json["detail"]
    held_against("/api/v1/series", 400, answer.json)


NAMES = st.sampled_from(["span", "from", "to", "points", "ink", "open", "x"])
VALUES = st.one_of(st.text(max_size=40), st.integers().map(str), st.floats().map(str),
                   st.sampled_from(["day", "all", "1782000000", "1782080000", "night", "yes", "2026-06-21T18:00"]))


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(path=st.sampled_from([*GETS, "/", "/log", "/alerts"]), query=st.dictionaries(NAMES, VALUES, max_size=4))
def test_whatever_is_asked_the_answer_is_an_answer_or_a_sentence(client, path: str, query: dict[str, str]) -> None:
    answer = client().get(path, query_string=query)
    assert answer.status_code in (200, 400)
    if path.startswith("/api"):
        held_against(path, answer.status_code, answer.json)


@pytest.fixture(scope="module")
def five_years(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A log with a forecast for each hour of five years, thousands of events, some at one moment, and a thousand alerts."""
    database = tmp_path_factory.mktemp("five years") / "ampledger.db"
    log = OpenLog(database, {"simulated": "1"})
    moments = [3600_000 * hour for hour in range(5 * 365 * 24)]
    rows = {
        "boots": [(0, "boot", 1_600_000_000_000, 0.0, 1, "test", 0.0, 0.0, 0)],
        "forecasts": [(at, *(0.25,) * 8) for at in moments],
        "events": [(number, 86_400_000 * (number // 3), "tried", "vehicle", f"number {number}", "[]") for number in range(1, 6001)],
        "alerts": [(number, 0, "normal", 3600_000 * number, saving.to_text(Alert(
            number, "house_low", "house", "low", "normal", 3600.0 * number, "", "", "", ""))) for number in range(1, 1201)]}
    log.sql("begin")
    for table, found in rows.items():
        for row in found:
            log.sql(checksum.insert_of(table), checksum.add_checksum(table, row))
    log.sql("commit")
    log.close()
    return database


@pytest.mark.parametrize(("name", "count"), [("forecasts", 5 * 365 * 24), ("events", 6000), ("alerts", 1200)])
def test_five_years_come_in_pages_that_are_bounded_and_leave_nothing_out(five_years: Path, name: str, count: int) -> None:
    with create_app(five_years).test_client() as browser:
        seen, query, largest = [], "from=1600000000&to=1900000000", 0
        while True:
            answer = browser.get(f"/api/v1/{name}?{query}")
            largest = max(largest, len(answer.data))
            rows = answer.json[name]
            assert rows and len(rows) <= 502
            seen += rows
            if answer.json["next"] is None:
                break
            query = f"from=1600000000&to=1900000000&after={answer.json['next']!r}"
        assert len(seen) == count and len({json.dumps(row) for row in seen}) == count
        assert largest < 200_000
        assert len(browser.get(f"/api/v1/{name}?from=1600000000&to=1900000000&limit=7").json[name]) in (7, 8, 9)
        for wrong in ("limit=0", "limit=1001", "limit=x", "after=soon", "after=nan", f"after={'9' * 60}"):
            assert browser.get(f"/api/v1/{name}?{wrong}").status_code == 400
