"""What programs get: OpenMetrics by a published parser, word of each minute as events, columns of CSV that stay, the state."""
import contextlib
import csv
import http.client
import json
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import pytest

from dashboard.data_out import MOST_LISTENERS, OPENMETRICS
from dashboard.openapi import describe_message
from monitor.findings import Estimate
from monitor.logbook.reader import Reader
from monitor.reporting.state import describe_message as message_of
from tests.dashboard.test_browser import serve
from tests.docs_text import DOCS, state_schema

#: Lines of the exposition format (OpenMetrics 1.0.0, ABNF): metadata, a sample, the end.
LINE = re.compile(r'# (TYPE|UNIT|HELP) [a-z_]+ .+|[a-z_]+(\{[a-z_]+="[^"]*"(,[a-z_]+="[^"]*")*\})? -?[0-9.]+(e[+-]?\d+)?|# EOF')


@pytest.mark.parametrize("kind", ["simulated", "real", "unsure", "empty"])
def test_the_metrics_are_openmetrics_by_a_published_parser(client, kind: str) -> None:
    answer = client(kind).get("/metrics")
    assert answer.status_code == 200 and answer.content_type == OPENMETRICS
    assert answer.text.endswith("# EOF\n") and all(LINE.fullmatch(line) for line in answer.text.splitlines())
    parser = pytest.importorskip("prometheus_client.openmetrics.parser")
    families = {family.name: family for family in parser.text_string_to_metric_families(answer.text)}
    assert families["ampledger_build"].type == "info"
    if kind != "empty":
        assert {family.type for family in families.values()} == {"gauge", "info", "stateset"}
        states = {s.labels["ampledger_isolator"]: s.value for s in families["ampledger_isolator"].samples}
        assert sorted(states) == ["closed", "open", "unknown"] and sum(states.values()) == 1


def test_the_metrics_are_the_log_s_own_figures(full: Path, client) -> None:
    parser = pytest.importorskip("prometheus_client.openmetrics.parser")
    found = {(s.name, tuple(sorted(s.labels.items()))): s.value
             for family in parser.text_string_to_metric_families(client().get("/metrics").text) for s in family.samples}
    now = Reader(full).now()
    charge = now.findings.charge.charge_frac
    assert isinstance(charge, Estimate)
    for bound in ("value", "low", "high"):
        assert found["ampledger_charge_ratio", (("battery", "house"), ("bound", bound))] == pytest.approx(getattr(charge, bound))
    assert found["ampledger_voltage_volts", (("battery", "house"),)] == pytest.approx(now.sample.house_voltage_v)
    assert found["ampledger_today_ampere_hours", (("flow", "spent"),)] == pytest.approx(now.findings.counts.today.spent_ah)
    assert found["ampledger_log_time_seconds", ()] == pytest.approx(now.utc_s)
    assert found["ampledger_open_alerts", (("priority", "high"),)] == 1


def test_the_state_that_is_published_is_what_its_schema_says(full: Path) -> None:
    schema = json.loads((DOCS / "state-1.schema.json").read_text())
    assert (DOCS / "state-1.schema.json").read_text() == state_schema()
    assert schema == describe_message()
    jsonschema.Draft202012Validator.check_schema(schema)
    now = Reader(full).now()
    alerts = [logged.what for logged in Reader(full).alerts()]
    found = message_of(now.findings, now.sample, now.vehicle, alerts, at_utc_s=now.utc_s, utc_trusted=True, simulated=True, hour=20.0)
    jsonschema.Draft202012Validator(schema).validate(json.loads(json.dumps(found)))
    assert [a["kind"] for a in found["alerts"]] and all(a["state"] != "normal" for a in found["alerts"])
    broken = json.loads(json.dumps(found)) | {"version": 2}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate(broken)


@pytest.mark.parametrize("every", ["raw", "minutes", "recording"])
def test_the_columns_of_the_csv_are_those_that_the_docs_promise(full: Path, every: str) -> None:
    text = subprocess.run([sys.executable, "-m", "monitor", "export", "--database", full, "--every", every], stdout=subprocess.PIPE,
                          check=True, text=True).stdout
    header = next(csv.reader(text.splitlines()))
    promised = re.search(rf"<!-- columns of {every} -->\n`([^`]+)`", (DOCS / "data.md").read_text())[1].split(",")
    assert header[:len(promised)] == promised and len(header) == len(promised)
    assert len(next(csv.reader(text.splitlines()[1:]))) == len(header)


class Listener:
    """One that listens to /stream of a server at HOST:PORT."""

    def __init__(self, base: str) -> None:
        self._link = http.client.HTTPConnection(base.removeprefix("http://"), timeout=20)
        self._link.request("GET", "/stream")
        self.answer = self._link.getresponse()

    def event(self) -> tuple[str, dict]:
        """The next event: its name and what it carries."""
        name = ""
        while True:
            line = self.answer.readline().decode().strip()
            if line.startswith("event: "):
                name = line[7:]
            elif line.startswith("data: "):
                return name, json.loads(line[6:])

    def close(self) -> None:
        self.answer.close()
        self._link.close()


def test_each_minute_of_the_log_is_an_event_and_too_many_listeners_are_sent_away(full: Path, tmp_path: Path) -> None:
    database = tmp_path / "ampledger.db"
    for file in full.parent.iterdir():
        if file.is_dir():
            shutil.copytree(file, tmp_path / file.name)
        else:
            shutil.copy(file, tmp_path / file.name)
    process, base = serve(database)
    listeners = []
    try:
        for _ in range(MOST_LISTENERS):
            listeners.append(Listener(base))
        one = listeners[0]
        assert one.answer.getheader("Content-Type").startswith("text/event-stream")
        name, word = one.event()
        assert name == "minute" and word["open_alerts"] >= 1 and 0 < word["charge_frac"] < 1
        database.touch()                                           # the log has grown
        assert one.event()[0] == "minute"
        refused = Listener(base)
        assert refused.answer.status == 503 and refused.answer.getheader("Retry-After") == "60"
        refused.close()
        for _ in range(3):                                         # and the pages answer all the same, at once
            begun = time.monotonic()
            link = http.client.HTTPConnection(base.removeprefix("http://"), timeout=20)
            link.request("GET", "/")
            assert link.getresponse().status == 200 and time.monotonic() - begun < 5
            link.close()
        for listener in listeners:
            listener.close()
        end = time.monotonic() + 60                                # who went away makes room
        while True:
            database.touch()
            again = Listener(base)
            status = again.answer.status
            again.close()
            if status == 200:
                break
            assert time.monotonic() < end
            time.sleep(0.5)
    finally:
        for listener in listeners:
            with contextlib.suppress(OSError):
                listener.close()
        process.terminate()
        process.wait(10)
