"""The twelve main screens look as their snapshots say: a change of look is seen, and is written anew on purpose (screens.py)."""
import difflib

import pytest

from tests.dashboard.screens import FOLDER, SCREENS, WIDTHS, describe
from tests.dashboard.test_browser import CHROMIUM, browser, opened, site  # noqa: F401 - fixtures

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no browser here; install one with: apt-get install chromium"),
]


@pytest.mark.parametrize("width", WIDTHS)
def test_each_screen_looks_as_its_snapshot(site: str, opened, width: int) -> None:  # noqa: F811 - fixtures
    page, changed = opened(site, viewport={"width": width, "height": 844}), []
    for name, path in SCREENS.items():
        page.goto(site + path)
        kept, seen = (FOLDER / f"{name}-{width}.txt").read_text(), describe(page)
        changed += difflib.unified_diff(kept.splitlines(), seen.splitlines(), f"{name}-{width}", "now", lineterm="", n=1)
    assert not changed, "\n".join([*changed, "If that is meant: python -m tests.dashboard.screens"])


def test_a_snapshot_sees_what_is_moved_or_renamed(site: str, opened) -> None:  # noqa: F811 - fixtures
    page = opened(site, viewport={"width": 1280, "height": 844})
    before = describe(page)
    rename = "document.querySelector('main h2').textContent = 'Batteries'"
    move = "document.querySelector('main').style.paddingLeft = '300px'"
    renamed = describe(page, rename)
    assert before != renamed != describe(page, f"{rename}; {move}")
