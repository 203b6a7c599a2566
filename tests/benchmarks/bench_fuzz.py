"""A hundred thousand cases: every address of the description by schemathesis, every page and parser by hypothesis."""
import tempfile
import time
import warnings
from collections import Counter
from pathlib import Path

import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.specs.openapi.checks import positive_data_acceptance

from dashboard import create_app
from tests import store_fixture
from tests.parsers import PARSERS

#: Cases for each parser, address of the description, and page; together more than a hundred thousand.
PARSED, ASKED, BROWSED = 3400, 1000, 30_000
#: No shrinking and no memory of earlier runs: failures are counted, not explained.
HOW = {"deadline": None, "database": None, "suppress_health_check": list(HealthCheck), "phases": [Phase.generate]}
PAGES = ("/", "/tonight", "/log", "/starter", "/alerts", "/health", "/about", "/code", "/clock", "/alerts/1/acknowledge",
         "/alerts/1/shelve", "/alerts/acknowledge-gone", "/static/style.css", "/nowhere")


def main() -> None:
    """Prints how many cases were tried and what broke; 0 is the promise."""
    tried: Counter = Counter()
    broke: Counter = Counter()
    started = time.perf_counter()
    for name, parser in PARSERS.items():
        before = tried["parsed"]
        _parser(name, parser, tried, broke)
        print(f"{name}: {tried['parsed'] - before} cases", flush=True)
    print(f"{len(PARSERS)} parsers: {tried['parsed']} cases in {time.perf_counter() - started:.0f} s", flush=True)
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(store_fixture.fill(Path(folder) / "ampledger.db", 1.6, beat_s=60.0), requests_folder=Path(folder) / "requests")
        _pages(app, tried, broke)
        print(f"{len(PAGES)} pages and forms: {tried['browsed']} cases", flush=True)
        _description(app, tried, broke)
    print(f"{sum(tried.values())} cases in {time.perf_counter() - started:.0f} s; unhandled exceptions and 5xx answers: "
          f"{sum(broke.values())}")
    for what, count in broke.most_common(20):
        print(f"  {count} x {what}")


def _parser(name, parser, tried: Counter, broke: Counter) -> None:
    @settings(max_examples=PARSED, **HOW)
    @given(parser.given)
    def once(told: object) -> None:
        tried["parsed"] += 1
        try:
            parser.read(told)
        except parser.refuses:
            pass
        except Exception as error:
            broke[f"{name}: {type(error).__name__}: {error}"[:160]] += 1

    once()


def _pages(app, tried: Counter, broke: Counter) -> None:
    client = app.test_client()
    token = client.get("/code").text.split('name="token" value="')[1].split('"')[0]
    texts = st.one_of(st.text(max_size=30), st.integers().map(str), st.floats().map(str),
                      st.sampled_from(["day", "all", "left", "about", "24"]))
    names = st.sampled_from(["span", "from", "to", "points", "told", "hours", "code", "utc_ms", "v"])

    @settings(max_examples=BROWSED, **HOW)
    @given(st.sampled_from(PAGES), st.sampled_from(["GET", "POST", "GET", "PUT", "HEAD", "OPTIONS", "DELETE"]),
           st.dictionaries(names, texts, max_size=3), st.dictionaries(names, texts, max_size=3), st.booleans(),
           st.dictionaries(st.sampled_from(["Host", "Accept-Encoding", "Cookie", "If-None-Match", "Sec-Fetch-Site", "Range",
                                            "Content-Type"]),
                           st.text(st.characters(min_codepoint=32, max_codepoint=255, exclude_characters="\x7f"), max_size=20), max_size=2))
    def once(page, method, query, form, ours, headers) -> None:
        tried["browsed"] += 1
        try:
            answer = client.open(page, method=method, query_string=query, headers=headers,
                                 data=({**form, "token": token} if ours else form) if method == "POST" else None)
            if answer.status_code >= 500:
                broke[f"{method} {page}: {answer.status_code}"] += 1
        except Exception as error:
            broke[f"{method} {page}: {type(error).__name__}: {error}"[:160]] += 1

    once()


def _description(app, tried: Counter, broke: Counter) -> None:
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", lambda environ,
                                            start: app({**environ, "REMOTE_ADDR": "127.0.0.1"}, start))
    for result in schema.get_all_operations():
        operation = result.ok()
        before = tried["asked"]

        @settings(max_examples=ASKED, **HOW)
        @given(st.one_of(operation.as_strategy(), operation.as_strategy(generation_mode=schemathesis.GenerationMode.NEGATIVE)))
        def once(case) -> None:
            tried["asked"] += 1
            try:
                case.call_and_validate(headers={"Accept-Encoding": "identity"}, excluded_checks=[positive_data_acceptance])
            except Exception as error:
                broke[f"{operation.label}: {type(error).__name__}: {error}"[:160]] += 1  # noqa: B023 - called within this turn of the loop

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                once()
            except Exception as error:  # an address without parameters has nothing to get wrong
                print(f"{operation.label}: {type(error).__name__} after {tried['asked'] - before} cases", flush=True)
        print(f"{operation.label}: {tried['asked'] - before} cases", flush=True)
