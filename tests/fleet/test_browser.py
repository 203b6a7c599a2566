"""The fleet's pages in a real browser: signing in, from the list to a vehicle's drawing, an alert seen, a battery described."""
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine

from monitor.fleet import keys, people
from monitor.fleet.publishing import Publisher
from tests.dashboard.test_browser import DESK, PHONE, SLOWNESS, browser, opened, pytestmark  # noqa: F401 - fixtures
from tests.fleet.lines import NOW_UTC_S, Straight
from tests.fleet.test_site import _served

PATIENCE_MS = 10_000 * SLOWNESS
PLACES = ("/", "/alerts", "/batteries", "/about/hilux-07", "/vehicle/hilux-07/", "/vehicle/hilux-07/log", "/vehicle/hilux-07/health",
          "/vehicle/hilux-07/alerts", "/vehicle/hilux-07/about", "/vehicle/patrol-02/", "/vehicle/hilux-07/more")


@pytest.fixture
def site(engine: Engine, published_log: Path) -> Any:
    """(address, code of ada, who administers)."""
    with engine.begin() as connection:
        key = keys.enrol(connection, "hilux-07", NOW_UTC_S)
        keys.enrol(connection, "patrol-02", NOW_UTC_S)
        code = people.put(connection, "ada", "administer")
    Publisher(published_log, Straight(engine, key), "board-a", "0.1.0").publish(lambda: NOW_UTC_S)
    with _served(engine) as url:
        yield url, code


def sign_in(page: Any, code: str) -> None:
    page.get_by_label("Name").fill("ada")
    page.get_by_label("Code").fill(code)
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("link", name="hilux-07").wait_for(timeout=PATIENCE_MS)


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
def test_from_the_code_to_a_vehicles_drawing_and_back(site: tuple[str, str], opened: Callable) -> None:  # noqa: F811 - a fixture
    url, code = site
    page = opened(url, **PHONE)
    sign_in(page, code)
    page.get_by_role("link", name="hilux-07").click()
    page.locator(".sum").first.wait_for(timeout=PATIENCE_MS)
    page.goto(f"{url}/vehicle/hilux-07/log")
    page.get_by_role("button", name="Zoom and read values").click()
    page.locator(".main-svg").first.wait_for(timeout=PATIENCE_MS)
    page.get_by_role("link", name="← Fleet").click()
    page.get_by_role("link", name="Alerts").click()
    page.get_by_role("button", name="Mark as seen").first.click()
    page.get_by_text("Seen by ada").first.wait_for(timeout=PATIENCE_MS)
    page.goto(f"{url}/about/hilux-07")
    page.get_by_label("Model").fill("AGM 60")
    page.get_by_label("Fitted on").fill("2026-03-01")
    page.get_by_role("button", name="Keep").click()
    page.get_by_text("Kept.").wait_for(timeout=PATIENCE_MS)
    page.get_by_role("link", name="Batteries").click()
    page.get_by_role("heading", name="AGM 60").wait_for(timeout=PATIENCE_MS)
    page.get_by_role("button", name="Sign out").click()
    page.get_by_role("button", name="Sign in").wait_for(timeout=PATIENCE_MS)
    assert page.complaints == []
    assert all(asked.startswith((url, "data:")) for asked in page.asked), "nothing is fetched from elsewhere"


@pytest.mark.parametrize("engine", ["postgresql"], indirect=True)
@pytest.mark.parametrize("screen", [PHONE, DESK], ids=["phone", "desk"])
def test_no_page_is_wider_than_the_screen_or_complains(site: tuple[str, str], opened: Callable, screen: dict) -> None:  # noqa: F811
    url, code = site
    page = opened(url, **screen)
    sign_in(page, code)
    for place in PLACES:
        page.goto(f"{url}{place}")
        assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") <= 0, place
    expected = ("503", "403")  # a vehicle that never came, and what only a board can do, say so by their status too
    assert [text for text in page.complaints if not any(f"status of {status}" in text for status in expected)] == []
