"""Every page against axe-core, the accessibility rules of WCAG 2.2 AA that others wrote: on a desk by day, on a phone by night.

Colours come from the scheme and not from the width, so that these two have every rule meet both.
"""
import pytest

from tests.dashboard.test_accessibility import EVERY
from tests.dashboard.test_browser import CHROMIUM, DESK, PHONE, browser, opened, site  # noqa: F401 - fixtures

axe = pytest.importorskip("axe_playwright_python.base", reason="axe-core is not here: pip install 'ampledger[test]'")
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no browser here; install one with: apt-get install chromium"),
]
#: Success criteria of levels A and AA, and what axe's authors hold for good practice beside them.
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = f"""axe.run(document, {{runOnly: {RULES}}}).then(found => found.violations.map(
  rule => `${{rule.id}}: ${{rule.nodes.map(node => node.html.slice(0, 90)).join(' | ')}}`))"""


def faults(page) -> list[str]:
    """What axe says against the page that is open."""
    page.evaluate(axe.AXE_FILE_PATH.read_text(encoding="utf-8"))
    found: list[str] = page.evaluate(RUN)
    return found


@pytest.mark.parametrize(("size", "light"), [(DESK, "light"), (PHONE, "dark")], ids=["desk by day", "phone by night"])
def test_axe_finds_nothing_on_any_page(site: str, opened, size: dict, light: str) -> None:  # noqa: F811
    page, bad = opened(site, color_scheme=light, **size), {}
    for path in EVERY:
        page.goto(site + path)
        if found := faults(page):
            bad[path] = found
    assert bad == {}


def test_axe_does_look(site: str, opened) -> None:  # noqa: F811
    page = opened(f"{site}/more", **PHONE)        # a page that does not draw itself anew meanwhile
    page.evaluate("document.documentElement.removeAttribute('lang')")
    page.evaluate("""document.querySelector('main').insertAdjacentHTML('beforeend',
        '<p style="color:#ddd;background:#fff">faint</p><input>')""")
    assert {line.partition(":")[0] for line in faults(page)} >= {"html-has-lang", "color-contrast", "label"}
