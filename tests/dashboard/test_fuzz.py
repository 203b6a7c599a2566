"""The whole OpenAPI description at work: schemathesis makes requests of it, right ones and wrong ones."""
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.specs.openapi.checks import positive_data_acceptance

from dashboard import create_app

#: Left out: that all that fits the description is accepted. That `from` is a moment, and before `to`, it cannot say.
LEFT_OUT = [positive_data_acceptance]
#: Its client does not unpack.
UNPACKED = {"Accept-Encoding": "identity"}


class Served:
    """The application that a test is about, asked without a socket; the description itself needs no log."""

    def __init__(self) -> None:
        self.app = create_app(Path("no log"))

    def __call__(self, environ: dict, start_response: Callable) -> Iterable[bytes]:
        return self.app({**environ, "REMOTE_ADDR": "127.0.0.1"}, start_response)


served = Served()
schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", served)


@pytest.fixture(autouse=True)
def over_a_real_log(apps: dict, make_log: Callable) -> None:
    if "fuzz" not in apps:
        apps["fuzz"] = create_app(make_log("simulated"))
    served.app = apps["fuzz"]


@schema.parametrize()
@settings(max_examples=6, suppress_health_check=list(HealthCheck))
def test_no_request_breaks_an_address_and_every_answer_is_as_described(case) -> None:
    case.call_and_validate(headers=UNPACKED, excluded_checks=LEFT_OUT)
