"""The JSON under /api/v1 described in OpenAPI 3.1; tests hold every answer against it."""
import json
from typing import Any

Schema = dict[str, Any]
NUMBER: Schema = {"type": "number"}
MAYBE: Schema = {"type": ["number", "null"]}
TEXT: Schema = {"type": "string"}
FLAG: Schema = {"type": "boolean"}


def _object(required: dict[str, Schema], **optional: Schema) -> Schema:
    return {"type": "object", "required": list(required), "properties": required | optional}


def _list(item: Schema) -> Schema:
    return {"type": "array", "items": item}


def _ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


COLUMNS = ("charge_frac", "charge_low_frac", "charge_high_frac", "house_current_a", "house_current_low_a",
           "house_current_high_a", "house_voltage_v", "house_voltage_low_v", "house_voltage_high_v",
           "starter_voltage_v", "starter_voltage_low_v", "starter_voltage_high_v", "isolator_closed_frac", "house_temperature_c")
FORECAST = ("probability_before_sun", "reserve_in_s", "reserve_in_low_s", "reserve_in_high_s", "lowest_frac",
            "lowest_low_frac", "lowest_high_frac", "sun_back_in_s", "reserve_frac", "fridge_stops_frac",
            "probability_fridge_stops")
FIGURES: Schema = {"type": "object", "additionalProperties": NUMBER}
BATTERY: Schema = {"enum": ["house", "starter", "vehicle"]}

SCHEMAS: dict[str, Schema] = {
    "Estimate": _object({"value": NUMBER, "low": NUMBER, "high": NUMBER, "basis": TEXT})
    | {"description": "A value with its 95 % interval and what it rests on; the name of its field ends in the unit."},
    "NotYet": _object({"because": TEXT}) | {"description": "Not known yet, and what would give it."},
    "Answer": {"oneOf": [_ref("Estimate"), _ref("NotYet")]},
    "Readings": {"type": "object", "additionalProperties": MAYBE,
                 "description": "Latest readings; null: not measured. Currents are positive into the battery."},
    "Tally": _object(dict.fromkeys(("start_s", "sun_ah", "alternator_ah", "other_ah", "spent_ah", "received_wh", "spent_wh", "gap_s",
                                    "seen_s"), NUMBER)),
    "Charge": _object({name: _ref("Answer") for name in (
        "charge_frac", "capacity_ah", "charge_left_ah", "usable_left_ah", "resistance_ohm", "current_offset_a")},
        anchor={"enum": ["full", "empty", "rest", ""]}, anchor_age_s=MAYBE, chemistry_doubt=TEXT, charging_stage=TEXT),
    "Join": _object({"isolator": {"enum": ["open", "closed", "unknown"]},
                     "engine": {"enum": ["off", "cranking", "running", "unknown"]},
                     "build": {"enum": ["isolator", "dc_dc", "unknown"]}, "path_resistance_ohm": _ref("Answer"),
                     "because": TEXT}),
    "Starter": _object({name: _ref("Answer") for name in (
        "charge_frac", "rest_voltage_v", "drain_a", "crank_lowest_v", "crank_drop_frac")}
        | {"doubtful_after_s": MAYBE, "crank_verdict": TEXT}),
    "Loads": _object({
        "harvest_a": _ref("Answer"), "load_a": _ref("Answer"),
        "shares": _object({name: _ref("Answer") for name in (
            "load_ah_per_day", "harvest_ah_per_day", "fridge_ah_per_day", "base_a", "evening_ah_per_day",
            "rest_ah_per_night")})}),
    "NamedLoads": _object({
        "loads": _list(_object({
            "number": {"type": "integer"}, "name": TEXT, "current_a": _ref("Answer"), "run_s": NUMBER, "every_s": NUMBER,
            "count": {"type": "integer"}, "last_on_s": NUMBER, "last_off_s": NUMBER, "is_on": FLAG, "today_ah": _ref("Answer"),
            "yesterday_ah": _ref("Answer"), "usual_ah_per_day": _ref("Answer")})),
        "because": TEXT} | {name: _ref("Answer") for name in (
            "today_ah", "yesterday_ah", "usual_ah_per_day", "unnamed_today_ah", "unnamed_yesterday_ah", "unnamed_usual_ah_per_day")}),
    "Health": _object({
        "verdict": {"enum": ["healthy", "watch", "replace", "not enough evidence"]},
        "lines": _list(_object({"weight": TEXT, "seen": TEXT, "overturned_by": TEXT, "about": TEXT})),
        "capacity_frac": _ref("Answer"), "resistance_growth_ratio": _ref("Answer"), "resistance_ohm": _ref("Answer"),
        "weeks_count": {"type": "integer"}, "charge_out_ah": NUMBER, "full_cycles_count": NUMBER,
        "depth_counts": _list(NUMBER), "since_full_s": NUMBER}),
    "Forecast": _object(dict.fromkeys(FORECAST, MAYBE) | {
        "issued_s": NUMBER, "sentence": TEXT, "headline": TEXT, "detail": TEXT, "because": TEXT,
        "fan": _list({"type": "array", "minItems": 4, "maxItems": 4, "items": NUMBER,
                      "description": "seconds from issue; 10 %, 50 %, 90 % charge fractions"}),
        "levers": _list({"type": "array", "prefixItems": [TEXT, NUMBER], "minItems": 2, "maxItems": 2})}),
    "Now": {"oneOf": [
        _object({"empty": {"const": True}, "simulated": FLAG}),
        _object({"empty": {"const": False}, "simulated": FLAG, "stale": FLAG, "at_utc_s": MAYBE, "clock_trusted": FLAG,
                 "readings": _ref("Readings"), "join": _ref("Join"), "charge": _ref("Charge"),
                 "starter": _ref("Starter"),
                 "loads": _ref("Loads"), "named_loads": _ref("NamedLoads"),
                 "counts": _object({"today": _ref("Tally"), "yesterday": {"oneOf": [_ref("Tally"), {"type": "null"}]},
                                    "total": _ref("Tally")}),
                 "forecast": _ref("Forecast"), "health": _ref("Health"), "open_alerts": {"type": "integer"},
                 "sentences": {"type": "object", "additionalProperties": TEXT}})]},
    "Series": _object({"from_utc_s": NUMBER, "to_utc_s": NUMBER, "at_utc_s": _list(NUMBER)}
                      | {name: _list(MAYBE) for name in COLUMNS})
    | {"description": "Columns of equal length, one place for each moment; null: not measured."},
    "Day": _object({"start_utc_s": NUMBER, "end_utc_s": NUMBER} | dict.fromkeys(("sun_ah", "alternator_ah", "other_ah", "charge_in_ah",
                                                                                 "charge_out_ah", "energy_in_wh", "energy_out_wh", "gap_s",
                                                                                 "charge_frac", "house_voltage_low_v",
                                                                                 "house_voltage_high_v", "starter_voltage_low_v",
                                                                                 "starter_voltage_high_v"), MAYBE)),
    "Event": _object({"at_utc_s": NUMBER, "kind": TEXT, "battery": BATTERY, "message": TEXT, "figures": FIGURES}),
    "Week": _object({"ended_utc_s": NUMBER, "start_s": NUMBER,
                     "fulls": {"type": "integer"}} | dict.fromkeys(("resistance_ohm", "resistance_sigma_ohm", "capacity_ah",
                                                                    "capacity_low_ah", "capacity_high_ah", "temperature_c", "lowest_frac",
                                                                    "highest_frac", "charge_out_ah", "empties_above_frac"), MAYBE)),
    "Gap": _object({"from_utc_s": NUMBER, "to_utc_s": MAYBE, "quantity": TEXT, "reason": TEXT,
                    "count": {"type": "integer"}}),
    "ForecastRow": _object({"at_utc_s": NUMBER} | dict.fromkeys(("reserve_utc_s", "reserve_low_utc_s", "reserve_high_utc_s",
                                                                 "probability_before_sun", "lowest_frac", "lowest_low_frac",
                                                                 "lowest_high_frac", "sun_back_utc_s"), MAYBE)),
    "Alert": _object({"id": {"type": "integer"}, "kind": TEXT, "battery": BATTERY,
                      "priority": {"enum": ["high", "medium", "low"]},
                      "state": {"enum": ["active", "active acknowledged", "returned", "normal"]},
                      "open": FLAG, "seen": TEXT, "means": TEXT, "evidence": TEXT, "count": {"type": "integer"},
                      "look_first": TEXT, "clears_when": TEXT,
                      "raised_utc_s": NUMBER, "cleared_utc_s": MAYBE, "acknowledged_utc_s": MAYBE, "acknowledged_by": TEXT,
                      "shelved_until_utc_s": MAYBE, "figures": FIGURES}),
    "Figure": _object({"data": _list({"type": "object"}), "layout": {"type": "object"}})
    | {"description": "A Plotly figure; its time axis is the board's local clock."},
    "Refusal": _object({"title": TEXT, "detail": TEXT}, todo=_list(TEXT)),
}

def describe_message() -> Schema:
    """JSON Schema (2020-12) of the state that is published, retained, on a topic (monitor/reporting/state.py)."""
    now = SCHEMAS["Now"]["oneOf"][1]["properties"]
    alert = _object({"id": {"type": "integer"}} | {name: SCHEMAS["Alert"]["properties"][name] for name in (
        "kind", "battery", "priority", "state", "seen", "means", "look_first")})
    head = {"version": {"const": 1}, "simulated": FLAG, "at_utc_s": MAYBE, "clock_trusted": FLAG, "alerts": _list(alert)}
    found = _object(head | {
        name: now[name] for name in ("readings", "join", "charge", "starter", "loads", "named_loads", "counts", "forecast", "health",
                                           "sentences")})
    text = json.dumps({"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "ampledger: the state, version 1"} | found | {
        "$defs": {name: SCHEMAS[name] for name in (
            "Estimate", "NotYet", "Answer", "Readings", "Tally", "Charge", "Join", "Starter", "Loads", "NamedLoads",
            "Health", "Forecast")}})
    return json.loads(text.replace("#/components/schemas/", "#/$defs/"))


_SPAN = [
    {"name": "span", "in": "query", "schema": {"enum": ["hour", "day", "week", "month", "year", "all"]},
     "description": "A span that ends with the latest reading (default: day)."},
    {"name": "from", "in": "query", "schema": TEXT,
     "description": "Seconds since 1970 UTC, or a local date like 2026-06-21T18:00."},
    {"name": "to", "in": "query", "schema": TEXT, "description": "Goes with from."},
]
_POINTS = {"name": "points", "in": "query",
           "schema": {"type": "integer", "minimum": 10, "maximum": 2000, "default": 600}}
_INK = {"name": "ink", "in": "query", "schema": {"enum": ["day", "night"], "default": "day"}}


def _get(name: str, summary: str, schema: Schema, parameters: list[Schema], **refusals: str) -> Schema:
    def answer(words: str, content: Schema) -> Schema:
        return {"description": words, "content": {"application/json": {"schema": content}}}

    told = {"400": "A parameter was not understood.", "401": "Reading needs the code.", "421": "The board has no such name.",
            "429": "Too many requests from one address.", "503": "There is no log that can be read."} | refusals
    return {"get": {"operationId": name, "summary": summary, "parameters": parameters, "responses": {
        "200": answer(summary, schema)} | {code: answer(words, _ref("Refusal")) for code, words in told.items()}}}


_PAGE = [
    {"name": "limit", "in": "query", "schema": {"type": "integer", "minimum": 1, "maximum": 1000, "default": 500},
     "description": "So many rows; those of one moment are never parted, so a few more may come."},
    {"name": "after", "in": "query", "schema": NUMBER, "description": "Goes on where a page ended: its `next`."},
]


def _rows(name: str, item: str) -> Schema:
    return _object({name: _list(_ref(item)),
                    "next": MAYBE | {"description": "Give it as `after` for the page that follows; null: the end."}})


DESCRIPTION: Schema = {
    "openapi": "3.1.0",
    "info": {"title": "ampledger", "version": "1", "description":
             "A vehicle's two 12 V batteries. Reading only. Units are in the names; currents are positive into the "
             "battery; intervals are 95 %."},
    "paths": {
        "/api/v1/now": _get("now", "Latest readings and everything concluded from them.", _ref("Now"), []),
        "/api/v1/series": _get("series", "Charge, current and voltages over a span.", _ref("Series"),
                               [*_SPAN, _POINTS]),
        "/api/v1/days": _get("days", "The daily books of a span.", _rows("days", "Day"), [*_SPAN, *_PAGE]),
        "/api/v1/weeks": _get("weeks", "Every week of the house battery on record.", _rows("weeks", "Week"), _PAGE),
        "/api/v1/events": _get("events", "The events of a span.", _rows("events", "Event"), [*_SPAN, *_PAGE]),
        "/api/v1/gaps": _get("gaps", "What was not measured in a span, and why.", _rows("gaps", "Gap"), [*_SPAN, *_PAGE]),
        "/api/v1/forecasts": _get("forecasts", "What was foreseen, hour by hour.", _rows("forecasts", "ForecastRow"),
                                  [*_SPAN, *_PAGE]),
        "/api/v1/alerts": _get("alerts", "Alerts, newest first.", _rows("alerts", "Alert"), [
            {"name": "open", "in": "query", "schema": {"enum": ["yes", "no"], "default": "no"}}, *_PAGE]),
        "/api/v1/figures/log": _get("log_figure", "The drawing of page Log.", _ref("Figure"), [*_SPAN, _POINTS, _INK]),
        "/api/v1/figures/tonight": _get("tonight_figure", "The drawing of page Tonight.", _ref("Figure"), [_INK],
                                        **{"404": "There is no forecast yet."}),
        "/api/v1/figures/health": _get("health_figure", "The drawing of page Health.", _ref("Figure"), [_INK],
                                       **{"404": "Nothing is known of a battery yet."}),
        "/api/v1/figures/starter": _get("starter_figure", "The drawing of page Starter.", _ref("Figure"),
                                        [_POINTS, _INK]),
        "/api/v1/openapi.json": {"get": {"operationId": "openapi", "summary": "This description.", "responses": {
            "200": {"description": "This description.",
                    "content": {"application/json": {"schema": {"type": "object"}}}}}}},
    },
    "components": {"schemas": SCHEMAS},
}
