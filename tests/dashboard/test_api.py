"""The JSON against its own OpenAPI description, and whatever a stranger may ask of it."""
import json

import jsonschema
import plotly.graph_objects as go
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dashboard.openapi import DESCRIPTION

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
    assert said["tonight"] in client().get("/").text.replace("&#39;", "'")
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
