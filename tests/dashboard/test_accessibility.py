"""WCAG 2.2 AA, as far as a machine can check it, on every page by day and by night, and at the width of a magnified phone.

Names, labels, headings and targets are looked at in test_jobs_browser.py and test_browser.py; here contrast (1.4.3, 1.4.11),
reflow (1.4.10), landmarks (1.3.1, 2.4.1), language (3.1.1), titles (2.4.2), order of the focus (2.4.3) and motion (2.3.3).
"""
import pytest

from tests.dashboard.conftest import PAGES
from tests.dashboard.test_browser import CHROMIUM, DESK, PHONE, browser, opened, site  # noqa: F401 - fixtures
from tests.dashboard.test_jobs import JOBS

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no browser here; install one with: apt-get install chromium"),
]
EVERY = (*PAGES, *JOBS, "/parked", "/circuits", "/starting-help", "/documents")

#: The text whose contrast with what lies behind it is below 4.5 to 1, or 3 to 1 where it is large (1.4.3), by the formula of WCAG 2.2.
CONTRAST = """() => {
  const parse = c => { const m = c.match(/[\\d.]+/g).map(Number); return {rgb: m.slice(0, 3), a: m.length > 3 ? m[3] : 1}; };
  const over = (top, below) => top.rgb.map((v, i) => v * top.a + below[i] * (1 - top.a));
  const light = rgb => rgb.map(v => v / 255).map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
    .reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const behind = e => {
    const layers = [];
    for (let n = e; n; n = n.parentElement) {
      const c = parse(getComputedStyle(n).backgroundColor);
      if (c.a > 0) layers.push(c);
      if (c.a === 1) break;
    }
    return layers.reverse().reduce((below, top) => over(top, below), [255, 255, 255]);
  };
  const bad = new Set();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, e = node.parentElement;
    if (!node.textContent.trim() || !e.checkVisibility({visibilityProperty: true})) continue;
    if (e.closest('svg, script, style, [aria-hidden=true]')) continue;
    const style = getComputedStyle(e), ground = behind(e), ink = over(parse(style.color), ground);
    const [a, b] = [light(ink), light(ground)].sort((x, y) => y - x), ratio = (a + 0.05) / (b + 0.05);
    const px = parseFloat(style.fontSize), large = px >= 24 || px >= 18.66 && +style.fontWeight >= 700;
    if (ratio < (large ? 3 : 4.5)) bad.add(`${ratio.toFixed(2)} ${node.textContent.trim().slice(0, 40)}`);
  }
  return [...bad];
}"""

#: Landmarks, language, title, order of the focus.
PLACES = """() => {
  const faults = [];
  if (!document.documentElement.lang) faults.push('no language');
  if (document.title.length < 5) faults.push('no title');
  if (document.querySelectorAll('main').length !== 1) faults.push('not one main');
  if (document.querySelectorAll('h1').length !== 1) faults.push('not one h1');
  for (const nav of document.querySelectorAll('nav')) if (!nav.getAttribute('aria-label')) faults.push('a nav without a name');
  if (document.querySelector('[tabindex]:not([tabindex="0"]):not([tabindex="-1"])')) faults.push('an order of the focus of its own');
  if (document.querySelector('meta[name=viewport]').content.match(/user-scalable=no|maximum-scale/)) faults.push('cannot be magnified');
  const outside = [...document.body.children].filter(e => !e.matches('header, nav, main, footer, script, .slips, .spine, .page') &&
    e.textContent.trim());
  if (outside.length) faults.push('text outside any landmark: ' + outside[0].textContent.trim().slice(0, 40));
  return faults;
}"""


@pytest.mark.parametrize("light", ["light", "dark"])
def test_every_text_stands_out_from_what_lies_behind_it(site: str, opened, light: str) -> None:  # noqa: F811
    page, bad = opened(site, color_scheme=light, **PHONE), {}
    for path in EVERY:
        page.goto(site + path)
        if found := page.evaluate(CONTRAST):
            bad[path] = found
    assert bad == {}


def test_the_contrast_check_sees_faint_text(site: str, opened) -> None:  # noqa: F811
    page = opened(site, **PHONE)
    # in one go: a live page may be drawn anew between two
    assert page.evaluate(f"() => {{ document.querySelector('h1').style.color = '#d8d8d0'; return ({CONTRAST})(); }}")


def test_landmarks_language_titles_and_focus(site: str, opened) -> None:  # noqa: F811
    page, bad, titles = opened(site, **DESK), {}, {}
    for path in EVERY:
        page.goto(site + path)
        titles.setdefault(page.title(), []).append(path.partition("?")[0])
        if found := page.evaluate(PLACES):
            bad[path] = found
    assert bad == {}
    assert [paths for paths in titles.values() if len(set(paths)) > 1] == [], "each page has a title of its own"


def test_nothing_has_to_be_scrolled_sideways_at_320_pixels(site: str, opened) -> None:  # noqa: F811
    """A phone of 1280 pixels magnified four times (1.4.10)."""
    page, bad = opened(site, viewport={"width": 320, "height": 640}, is_mobile=True, has_touch=True), []
    for path in EVERY:
        page.goto(site + path)
        if (wide := page.evaluate("document.documentElement.scrollWidth")) > 320:
            bad.append((path, wide))
    assert bad == []
