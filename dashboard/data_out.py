"""For programs: the figures in the OpenMetrics text format, and word of each new minute as server-sent events."""
import json
import threading
import time
from collections.abc import Iterator
from importlib.metadata import version
from pathlib import Path
from typing import Any

from flask import Blueprint, Response, current_app, jsonify

from dashboard import log_view as books
from monitor.findings import Answer, Estimate

data_out = Blueprint("data_out", __name__)
#: The OpenMetrics text format (exposition format 1.0.0).
OPENMETRICS = "application/openmetrics-text; version=1.0.0; charset=utf-8"
#: Listeners at once: each takes a thread of the server (server.THREADS), the rest of which goes on serving. Between two looks at
#: the log, and two signs of life [s]; so long one listens before it has to come again [s].
MOST_LISTENERS, LOOK_S, SIGN_S, LISTENS_S = 6, 1.0, 15.0, 600.0
_listening = threading.BoundedSemaphore(MOST_LISTENERS)


@data_out.get("/metrics")
def metrics() -> Response:
    """Readings and conclusions; what is not known is left out."""
    return Response(write_metrics(books.open_log_view()), content_type=OPENMETRICS)


@data_out.get("/stream")
def stream() -> Response | tuple[Response, int, dict[str, str]]:
    """An event `minute` whenever the log has grown. Where too many listen already: 503, and the page asks now and then instead."""
    if not _listening.acquire(blocking=False):
        return jsonify(title="Too many listeners", detail="Ask for /api/v1/now instead, every ten seconds."), 503, {"Retry-After": "60"}
    once = threading.Lock()

    def let_go() -> None:
        if once.acquire(blocking=False):
            _listening.release()

    try:
        answer = Response(_events(current_app.config["DATABASE"], current_app.extensions["kept"], let_go), mimetype="text/event-stream")
    except BaseException:
        let_go()
        raise
    answer.call_on_close(let_go)
    answer.headers["X-Accel-Buffering"] = "no"  # a proxy in front must not gather
    return answer


def _events(database: Path, kept: books.MemoizedAnswers, let_go: Any) -> Iterator[str]:
    end_s = time.monotonic() + LISTENS_S
    before: object = None
    said_s = time.monotonic()
    try:
        yield "retry: 5000\n\n"
        while time.monotonic() < end_s:
            state = books.signature_of(database)
            if state != before:
                before, said_s = state, time.monotonic()
                yield f"event: minute\ndata: {json.dumps(_word(books.LogView(database, kept)))}\n\n"
            elif time.monotonic() - said_s > SIGN_S:
                said_s = time.monotonic()
                yield ": still here\n\n"
            time.sleep(LOOK_S)
    finally:
        let_go()


def _word(book: books.LogView) -> dict[str, Any]:
    """What an event carries: enough to see whether it is worth asking for more."""
    try:
        if book.now is None:
            return {"empty": True}
        charge = book.now.findings.charge.charge_frac
        return {"empty": False, "at_utc_s": book.now.utc_s, "charge_frac": charge.value if isinstance(charge, Estimate) else None,
                "open_alerts": book.holding}
    except books.NoLogView:
        return {"empty": True}


class Families:
    """Metric families in the order they are made, each with its metadata before its samples."""

    def __init__(self) -> None:
        self._lines: list[str] = []

    def add(self, name: str, unit: str, text: str, *samples: tuple[dict[str, str], float | None], kind: str = "gauge") -> None:
        """A family with the samples that are known; without one it is left out.

        name : it ends in the unit; unit : as OpenMetrics writes it, "" for none; text : what it says; samples : labels and value
        of each; kind : its type
        """
        known = [(labels, value) for labels, value in samples if value is not None]
        if not known:
            return
        self._lines.append(f"# TYPE {name} {kind}")
        if unit:
            self._lines.append(f"# UNIT {name} {unit}")
        self._lines.append(f"# HELP {name} {_escape(text)}")
        suffix = "_info" if kind == "info" else ""
        for labels, value in known:
            inside = ",".join(f'{key}="{_escape(word)}"' for key, word in labels.items())
            self._lines.append(f"{name}{suffix}{{{inside}}} {value:.10g}" if inside else f"{name}{suffix} {value:.10g}")

    def text(self) -> str:
        """All of it, with the mark of the end."""
        return "\n".join([*self._lines, "# EOF"]) + "\n"


def write_metrics(book: books.LogView) -> str:
    """The exposition of a log. An estimate has three samples, by the label `bound`: value, low and high (95 %)."""
    made = Families()
    made.add("ampledger_build", "", "What runs here", ({"version": version("ampledger")}, 1.0), kind="info")
    made.add("ampledger_simulated", "", "1: no battery is behind these figures", ({}, float(book.simulated)))
    if book.now is None:
        return made.text()
    found, sample = book.now.findings, book.latest
    made.add("ampledger_log_time_seconds", "seconds", "UTC of the latest minute", ({}, book.now.utc_s))
    made.add("ampledger_clock_trusted", "", "1: a clock vouches for it", ({}, float(book.now.utc_trusted)))
    made.add("ampledger_voltage_volts", "volts", "At the posts, latest reading", ({"battery": "house"}, sample.house_voltage_v),
             ({"battery": "starter"}, sample.starter_voltage_v))
    made.add("ampledger_current_amperes", "amperes", "Latest reading; positive into the house battery, from the panel",
             ({"of": "house"}, sample.house_current_a), ({"of": "solar"}, sample.solar_current_a))
    made.add("ampledger_temperature_celsius", "celsius", "Latest reading", ({"of": "house"}, sample.house_temperature_c),
             ({"of": "starter"}, sample.starter_temperature_c), ({"of": "air"}, sample.ambient_temperature_c))
    made.add("ampledger_charge_ratio", "ratio", "Charge left of what the battery can hold",
             *_bounds(found.charge.charge_frac, battery="house"), *_bounds(found.starter.charge_frac, battery="starter"))
    made.add("ampledger_capacity_ampere_hours", "ampere_hours", "What the house battery holds now", *_bounds(found.charge.capacity_ah))
    made.add("ampledger_usable_ampere_hours", "ampere_hours", "Left above the reserve", *_bounds(found.charge.usable_left_ah))
    made.add("ampledger_drain_amperes", "amperes", "Drain of the starter battery while parked", *_bounds(found.starter.drain_a))
    made.add("ampledger_load_amperes", "amperes", "Loads, last half hour", *_bounds(found.loads.load_a))
    made.add("ampledger_harvest_amperes", "amperes", "From the sun, last half hour", *_bounds(found.loads.harvest_a))
    for name, unit, text, field in (("today", "ampere_hours", "Taken by a named load since midnight", "today_ah"),
                                    ("usual_day", "ampere_hours", "Taken by a named load on a usual day", "usual_ah_per_day")):
        made.add(f"ampledger_load_{name}_{unit}", unit, text, *(
            sample for load in found.named.loads if load.name
            for sample in _bounds(getattr(load, field), load=load.name, number=str(load.number))))
    made.add("ampledger_path_ohms", "ohms", "Isolator and cables between the batteries", *_bounds(found.join.path_resistance_ohm))
    made.add("ampledger_reserve_risk_ratio", "ratio", "Chance that the reserve is reached before the sun is back",
             ({}, found.forecast.probability_before_sun))
    today = found.counts.today
    made.add("ampledger_today_ampere_hours", "ampere_hours", "House battery since midnight: received by source, and spent",
             ({"flow": "sun"}, today.sun_ah), ({"flow": "engine"}, today.alternator_ah), ({"flow": "other"}, today.other_ah),
             ({"flow": "spent"}, today.spent_ah))
    for name, state, words in (("isolator", found.join.isolator, ("open", "closed", "unknown")),
                               ("engine", found.join.engine, ("off", "cranking", "running", "unknown"))):
        made.add(f"ampledger_{name}", "", f"State of the {name}",
                 *(({f"ampledger_{name}": word}, float(word == state)) for word in words), kind="stateset")
    made.add("ampledger_open_alerts", "", "Alerts that are open, by priority", *(
        ({"priority": level}, float(sum(a.what.priority == level and a.what.state != "returned" for a in book.open_alerts)))
        for level in ("high", "medium", "low")))
    return made.text()


def _bounds(answer: Answer, **labels: str) -> list[tuple[dict[str, str], float | None]]:
    if not isinstance(answer, Estimate):
        return []
    return [({**labels, "bound": bound}, getattr(answer, bound)) for bound in ("value", "low", "high")]


def _escape(text: str) -> str:
    return text.replace("\\", r"\\").replace('"', r"\"").replace("\n", r"\n")
