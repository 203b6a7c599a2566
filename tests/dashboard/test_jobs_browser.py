"""The pages of jobs in a real browser, on a phone and on a desk: forms filled in by hand, nothing too wide or too small."""
# ruff: noqa: F811 - fixtures of another file of tests
from pathlib import Path

import pytest

from tests.dashboard.conftest import PAGES
from tests.dashboard.test_browser import CHROMIUM, DESK, LEAST_TOUCH_PX, PHONE, browser, opened, site  # noqa: F401
from tests.dashboard.test_jobs import JOBS

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no browser here; install one with: apt-get install chromium"),
]
SIZES = pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
SMALL = """least => [...document.querySelectorAll('a, button, select, input, summary')]
    .filter(e => e.offsetParent !== null && e.type !== 'hidden')
    .map(e => [e.textContent.trim().slice(0, 30) || e.name, e.getBoundingClientRect()])
    .filter(([, r]) => r.height < least || r.width < least)
    .map(([t, r]) => `${t} ${r.width}x${r.height}`)"""


def fits(page, path: str) -> None:
    """Nothing sticks out at the side, everything to press is large enough, and nothing was complained of."""
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"], path
    assert page.evaluate(SMALL, LEAST_TOUCH_PX) == [], path
    assert page.complaints == [], path


@SIZES
def test_every_job_s_page_fits(site: str, opened, size: dict) -> None:
    page = opened(site, **size)
    for path in JOBS:
        page.goto(site + path)
        fits(page, path)
        assert page.locator("h1").count() == 1 and page.locator("main").count() == 1


def test_a_question_is_asked_and_answered_with_pictures(site: str, opened) -> None:
    page = opened(f"{site}/more", **PHONE)
    page.get_by_role("link", name="What do I buy?").click()
    page.get_by_label("Capacity, Ah").first.fill("180")
    page.get_by_text("And a second one beside it").click()
    page.get_by_label("Solar panel, times today's").nth(1).fill("2")
    page.get_by_label("Latest days of the log").fill("3")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_role("heading", name="Side by side").wait_for(timeout=120_000)
    assert page.locator("svg.ranges").count() == 3
    fits(page, page.url)
    page.get_by_role("link", name="Change it").click()
    assert page.get_by_label("Capacity, Ah").first.input_value() == "180"


def test_a_plan_for_an_ordinary_fridge_vehicle_takes_ten_taps_on_a_phone(site: str, opened) -> None:
    """From the first page to the answer. Counted as the browser hears them; a list takes one more, for the line that is chosen in it."""
    page = opened(site, **PHONE)
    page.context.expose_function("tapped", lambda: taps.append(1))
    page.context.add_init_script("addEventListener('pointerdown', () => tapped(), true)")
    taps: list[int] = []
    page.reload()
    page.get_by_role("link", name="More").first.tap()
    page.get_by_role("link", name="What does a trip need?").tap()
    page.get_by_label("Place, or latitude,longitude").tap()
    page.get_by_label("Place, or latitude,longitude").fill("Lisbon")
    for name in ("first", "last"):
        taps.append(1)
        page.locator(f"select[name={name}]").tap()
        page.locator(f"select[name={name}]").select_option(label="July")
    page.get_by_role("button", name="Work it out").tap()
    page.get_by_role("heading", name="Side by side").wait_for(timeout=240_000)
    assert "Lisbon" in page.locator("main").inner_text() and page.locator("svg.ranges").count() == 3
    assert 8 <= len(taps) <= 10, len(taps)


def test_it_works_without_javascript(site: str, opened) -> None:
    page = opened(f"{site}/what-if", java_script_enabled=False, **PHONE)
    page.get_by_label("Use, times today's").first.fill("0.7")
    page.get_by_label("Latest days of the log").fill("3")
    page.get_by_role("button", name="Work it out").click()
    page.get_by_role("heading", name="Side by side").wait_for(timeout=120_000)     # by itself, every three seconds


def test_a_new_battery_is_recorded_with_a_thumb(site: str, opened, full) -> None:
    from monitor.store import requests

    page = opened(f"{site}/more", **PHONE)
    page.get_by_role("link", name="I put in a new one").click()
    form = page.locator("form", has=page.get_by_role("button", name="Record it"))
    form.get_by_label("starter").check()
    form.get_by_label("Rated capacity, Ah").fill("80")
    form.get_by_label("Your name for it").fill("spring")
    form.get_by_role("button", name="Record it").click()
    page.wait_for_url("**/battery?told=left")
    assert "Noted." in page.inner_text("main")
    (one,) = requests.take(requests.folder_of(full))
    assert one.values["battery"] == "starter" and one.values["rated_capacity_ah"] == 80 and one.values["label"] == "spring"
    fits(page, page.url)


def test_a_report_is_made_opened_and_drawn(site: str, opened) -> None:
    page = opened(f"{site}/report", **DESK)
    page.get_by_role("button", name="Make a report").click()
    page.get_by_text("Your report is ready.").wait_for(timeout=120_000)
    fits(page, page.url)
    page.goto(page.url + "/house-battery.html")
    page.locator("body[data-drawn=yes]").wait_for(timeout=20_000)
    assert page.evaluate("self.origin") == "null"        # in a room of its own
    assert page.complaints == []


def test_a_span_is_downloaded_after_its_size_was_said(site: str, opened) -> None:
    page = opened(f"{site}/download", **DESK)
    page.get_by_label("How fine").select_option("hours")
    page.get_by_role("button", name="Say how large it is").click()
    page.get_by_text("over the network").wait_for()
    fits(page, page.url)
    with page.expect_download() as coming:
        page.get_by_role("link", name="Download", exact=True).click()
    assert coming.value.suggested_filename.startswith("ampledger-hours-")
    assert Path(coming.value.path()).read_text().startswith("utc_start,utc_end,")


def test_readings_renew_themselves_and_what_is_typed_stays(full: Path, site: str, opened) -> None:
    from playwright.sync_api import expect

    page = opened(f"{site}/instruments", **PHONE)
    page.get_by_label("The clamp meter shows, A").fill("12,4")
    page.wait_for_timeout(2500)                                    # it listens
    page.evaluate("document.querySelector('[data-live] td b').textContent = 'old'")
    full.touch()
    expect(page.locator("[data-live] td b").first).not_to_have_text("old", timeout=20_000)
    assert page.get_by_label("The clamp meter shows, A").input_value() == "12,4"
    page.get_by_role("button", name="A load is on").click()
    page.wait_for_url("**/instruments?told=left")
    fits_but_for_refusals(page)


def fits_but_for_refusals(page) -> None:
    """A refusal is a page with status 400, which a browser notes in its console."""
    page.complaints = [text for text in page.complaints if "400" not in text]
    fits(page, page.url)


#: What a screen reader and a keyboard need, by WCAG 2.2: names of controls and pictures (1.1.1, 1.3.1, 4.1.2), headings in order
#: and one of the first rank (1.3.1, 2.4.6), landmarks (1.3.1), language (3.1.1), no id twice (4.1.1 of 2.1), a title (2.4.2).
FAULTS = """() => {
  const faults = [];
  const all = (what, say) => document.querySelectorAll(what).forEach(e => { const fault = say(e); if (fault) faults.push(fault); });
  const named = e => (e.getAttribute('aria-label') || e.textContent || e.value || e.title || '').trim();
  const labelled = e => [...(e.labels || [])].some(l => l.textContent.trim()) || e.getAttribute('aria-label');
  all('input:not([type=hidden]), select, textarea', e => labelled(e) ? '' : 'no label: ' + e.name);
  all('button, a[href], summary, progress', e => named(e) || e.querySelector('[alt]') ? '' : 'no name: ' + e.outerHTML);
  all('img', e => e.hasAttribute('alt') ? '' : 'no alt: ' + e.src);
  all('svg', e => e.closest('[aria-hidden=true], [role=img][aria-label], #js-plotly-tester') ? '' : 'picture without a name');
  all('fieldset', e => e.querySelector('legend') ? '' : 'fieldset without legend');
  let rank = 0;
  all('h1, h2, h3, h4', h => {
    const before = rank;
    rank = Number(h.tagName[1]);
    return rank > before + 1 ? 'skips: ' + h.textContent : '';
  });
  for (const what of ['h1', 'main', 'nav[aria-label]', 'body > * header', 'footer.foot'])
    if (!document.querySelector(what)) faults.push('no ' + what);
  if (document.querySelectorAll('h1, main').length !== 2) faults.push('two of h1 or main');
  if (!document.documentElement.lang || !document.title) faults.push('language or title');
  const ids = [...document.querySelectorAll('[id]')].map(e => e.id).filter(id => !id.match(/^(topdefs|defs|clip|legend|hover)/));
  if (new Set(ids).size !== ids.length) faults.push('id twice');
  return faults;
}"""


def test_pages_can_be_used_by_keyboard_and_read_aloud(site: str, opened) -> None:
    page = opened(site, **PHONE)
    for path in (*PAGES, *JOBS, "/parked", "/circuits", "/starting-help", "/documents"):
        page.goto(site + path)
        assert page.evaluate(FAULTS) == [], path
    page.goto(f"{site}/more")
    for _ in range(40):                                            # by keyboard alone, with a focus that is seen (2.4.7)
        page.keyboard.press("Tab")
        if "What do I buy?" in page.evaluate("document.activeElement.textContent"):
            break
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.press("Enter")
    page.wait_for_url("**/what-if")
