"""The pages in a real browser: offline, no errors, nothing too wide, nothing too small to touch."""
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.dashboard.conftest import PAGES
from tests.dashboard.test_guides import GUIDES
from tests.ports import free_port, wait_until_open

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no browser here; install one with: apt-get install chromium"),
]
#: A browser that asks nobody for anything by itself.
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--disable-default-apps"]
PHONE = {"viewport": {"width": 390, "height": 844}, "device_scale_factor": 2, "is_mobile": True, "has_touch": True}
DESK = {"viewport": {"width": 1280, "height": 860}}
LEAST_TOUCH_PX = 40
#: A machine that is busy with other tests gets so many times the time.
SLOWNESS = 3.0


def serve(database: Path) -> tuple[subprocess.Popen, str]:
    """The dashboard as it is run, in a process of its own."""
    port = free_port()
    address = f"127.0.0.1:{port}"
    process = subprocess.Popen([sys.executable, "-m", "dashboard", "--database", str(database), "--address", address],
                               stderr=subprocess.DEVNULL)
    try:
        wait_until_open(port, 60.0)
    except AssertionError:
        process.kill()
        raise
    return process, f"http://{address}"


@pytest.fixture(scope="module")
def site(full: Path) -> Iterator[str]:
    process, base = serve(full)
    yield base
    process.terminate()
    process.wait(10)


@pytest.fixture(scope="module")
def browser() -> Iterator:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield found
        found.close()


@pytest.fixture
def opened(browser) -> Iterator[Callable]:
    """Opens a page and keeps account of what it asked for and complained about."""
    contexts = []

    def open_page(url: str, **how):
        context = browser.new_context(**how)
        contexts.append(context)
        page = context.new_page()
        page.asked, page.complaints = [], []
        page.on("request", lambda r: page.asked.append(r.url))
        page.on("console", lambda m: page.complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda e: page.complaints.append(str(e)))
        page.goto(url)
        return page

    yield open_page
    for context in contexts:
        context.close()


def settle(page) -> None:
    """Ask for every drawing on the page, and wait until it is drawn."""
    from playwright.sync_api import expect

    for button in page.locator("[data-draw]").all():
        button.click()
    expect(page.locator("[data-figure]:not([data-drawn])")).to_have_count(0, timeout=20_000)


@pytest.mark.parametrize("size, light", [(PHONE, "light"), (PHONE, "dark"), (DESK, "light")],
                         ids=["phone", "phone by night", "desk"])
def test_every_page_draws_offline_without_complaint_and_fits(site: str, opened, size: dict, light: str) -> None:
    width = size["viewport"]["width"]
    page = opened(site, color_scheme=light, **size)
    for path in (*PAGES, *GUIDES, "/parked"):
        page.goto(site + path)
        settle(page)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        small = page.evaluate("""least => [...document.querySelectorAll('a, button, select, input, summary')]
            .filter(e => e.offsetParent !== null && e.type !== 'hidden')
            .map(e => [e.textContent.trim().slice(0, 30), e.getBoundingClientRect()])
            .filter(([, r]) => r.height < least || r.width < least)
            .map(([t, r]) => `${t} ${r.width}x${r.height}`)""", LEAST_TOUCH_PX)
        assert small == [], path
    assert page.complaints == []
    assert [url for url in page.asked if not url.startswith((site, "data:", "blob:"))] == []


def test_no_button_leads_out_of_a_drawing(site: str, opened) -> None:
    page = opened(site + "/log", **DESK)
    settle(page)
    assert page.locator(".plotlyjsicon, .modebar-btn[data-title*='loud'], .modebar-btn[data-title*='hare']").count() == 0
    assert page.locator("a[href^='http']:not([href^='http://127.0.0.1'])").count() == 0


def test_without_a_script_the_figures_that_matter_are_there(site: str, opened) -> None:
    page = opened(site, java_script_enabled=False, **PHONE)
    text = page.inner_text("main")
    assert "House battery" in text and "%" in text and "Starter battery" in text and "Today so far" in text
    page.goto(site + "/log")
    assert page.locator("table.tally tbody tr").count() >= 1
    assert page.locator(".plot svg path").count() > 8 and not page.locator("[data-draw]").is_visible()
    assert len(page.locator("[data-place]").first.get_attribute("aria-label")) > 30


@pytest.mark.parametrize("path", (*PAGES, "/parked"))
def test_a_slow_phone_has_any_page_within_two_seconds(site: str, opened, path: str) -> None:
    """The first load of all, at 400 kB/s and 50 ms, nothing kept from before: no drawing library among it."""
    page = opened("about:blank", **PHONE)
    wire = page.context.new_cdp_session(page)
    wire.send("Network.enable")
    wire.send("Network.emulateNetworkConditions",
              {"offline": False, "latency": 50, "downloadThroughput": 400_000, "uploadThroughput": 400_000})
    sizes: list[float] = []
    wire.on("Network.loadingFinished", lambda event: sizes.append(event["encodedDataLength"]))
    begun = time.monotonic()
    page.goto(site + path, wait_until="load")
    assert time.monotonic() - begun < 2.0 * SLOWNESS
    assert sum(sizes) < 150_000 and not [url for url in page.asked if "plotly" in url]


def test_the_library_comes_when_a_hand_asks_and_the_drawing_can_be_zoomed(site: str, opened) -> None:
    page = opened(site + "/log", **DESK)
    assert not [url for url in page.asked if "plotly" in url]
    settle(page)
    assert [url for url in page.asked if "plotly" in url] and page.locator(".js-plotly-plot").count() == 1
    assert page.complaints == []


def test_drawings_change_their_ink_when_night_falls(site: str, opened) -> None:
    page = opened(site + "/tonight", color_scheme="light", **PHONE)
    settle(page)
    ground = "document.querySelector('.js-plotly-plot .main-svg').style.background"
    assert page.evaluate(ground) == "rgb(251, 252, 246)"
    page.emulate_media(color_scheme="dark")
    page.locator("[data-drawn=night]").wait_for(timeout=20_000)
    assert page.evaluate(ground) == "rgb(19, 26, 22)"


def test_the_page_now_renews_itself_and_says_when_the_board_is_silent(full: Path, browser) -> None:
    from playwright.sync_api import expect

    process, base = serve(full)
    context = browser.new_context(**PHONE)
    try:
        page = context.new_page()
        page.clock.install()
        page.goto(base)
        said = page.inner_text("#tonight")
        page.locator("body[data-listens=yes]").wait_for()
        page.evaluate("document.getElementById('tonight').textContent = 'old'")
        full.touch()                                    # the log has grown, and the board says so
        expect(page.locator("#tonight")).to_have_text(said, timeout=20_000)
        assert not page.locator("#silent").is_visible()
        process.kill()
        process.wait(10)
        page.clock.fast_forward(11_000)
        page.locator("#silent").wait_for(state="visible", timeout=20_000)
    finally:
        context.close()
        process.kill()
        process.wait(10)


def test_the_page_now_asks_by_itself_where_nobody_tells_it_of_news(site: str, browser) -> None:
    """A proxy that lets no stream through, or a board to which too many listen already."""
    from playwright.sync_api import expect

    context = browser.new_context(**PHONE)
    try:
        page = context.new_page()
        page.route("**/stream", lambda route: route.abort())
        page.clock.install()
        page.goto(site)
        said = page.inner_text("#tonight")
        page.wait_for_timeout(500)
        page.evaluate("document.getElementById('tonight').textContent = 'old'")
        page.clock.fast_forward(11_000)
        expect(page.locator("#tonight")).to_have_text(said, timeout=20_000)
    finally:
        context.close()


def test_an_alert_is_marked_as_seen_with_a_thumb(site: str, full: Path, opened) -> None:
    from monitor.store import requests

    page = opened(site + "/alerts", **PHONE)
    page.locator("button", has_text="Mark as seen").first.tap()
    page.wait_for_url("**/alerts?told=left")
    assert "Noted." in page.inner_text("main")
    assert [r.kind for r in requests.take(requests.folder_of(full))] == ["acknowledge"]


@pytest.mark.parametrize("page_path", ["/log", "/tonight"])
def test_a_drawing_is_named_for_those_who_cannot_see_it(site: str, opened, page_path: str) -> None:
    page = opened(site + page_path, **DESK)
    assert len(page.locator("[data-place]").first.get_attribute("aria-label")) > 30
    assert page.locator("h1").count() == 1 and page.locator("html").get_attribute("lang") == "en"


def test_a_phone_that_opens_the_page_sets_the_clock_of_the_board(make_log, opened) -> None:
    """From the slip on page Now to the request that the daemon takes up."""
    from monitor.store import requests

    database = make_log("unsure")
    process, base = serve(database)
    try:
        page = opened(base, **PHONE)
        page.get_by_role("link", name="Set it from this phone").tap()
        before_s = time.time()
        page.locator("[data-clock] button").tap()
        page.wait_for_url("**/about?told=left")
        (asked,) = requests.take(requests.folder_of(database))
        assert asked.kind == "set_clock" and before_s - 1 <= asked.values["utc_s"] <= time.time() + 1
        assert page.complaints == []
    finally:
        process.terminate()
        process.wait(10)


def test_on_paper_the_ink_is_dark_the_mark_of_a_simulation_stays_and_nothing_can_be_pressed(site: str, opened) -> None:
    page = opened(site, color_scheme="dark", viewport={"width": 794, "height": 1123})    # A4 at 96 dots an inch
    page.emulate_media(media="print", color_scheme="dark")
    for path in ("/", "/tonight", "/log", "/health", "/alerts"):
        page.goto(site + path)
        assert page.locator(".slip.simulated").is_visible()
        assert page.locator("button:visible, .index:visible, .button:visible").count() == 0, path
        ground, ink = (page.evaluate(f"getComputedStyle(document.body).{what}.match(/\\d+/g).map(Number)") for what in (
            "backgroundColor", "color"))
        assert min(ground[:3]) > 200 and max(ink[:3]) < 80, (path, ground, ink)
        assert page.evaluate("document.documentElement.scrollWidth") <= 794, path
