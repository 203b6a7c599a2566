"""Snapshots of the twelve main screens: what stands where, in words of the page and twelfths of its width, without figures and fonts.

Run this to write them anew after a change of look; the difference is then read like code:

    python -m tests.dashboard.screens
"""
import re
import sys
import tempfile
from pathlib import Path

#: Name of a screen -> its address.
SCREENS = {"now": "/", "tonight": "/tonight", "log": "/log?span=day", "starter": "/starter", "alerts": "/alerts", "health": "/health",
           "about": "/about", "more": "/more", "loads": "/loads", "what-if": "/what-if", "battery": "/battery",
           "instruments": "/instruments"}
FOLDER = Path(__file__).with_name("screens")
WIDTHS = (390, 1280)
BLOCKS, HEADS = ("table", "figure", "svg"), ("h1", "h2", "h3", "nav")

#: Everything that has a place on a page, in reading order: rank, text, and the twelfth of the width in which it begins and ends.
LAYOUT = """() => {
  const rows = [];
  const what = 'h1, h2, h3, p.lead, .sum, svg.strip, figure.chart, table, th[scope=row], thead th, dt, button, summary, label, ' +
    'nav a, footer a';
  for (const e of document.querySelectorAll(what)) {
    const box = e.getBoundingClientRect();
    if (!e.checkVisibility({visibilityProperty: true}) || box.width < 2) continue;
    const name = e.matches('table, figure, svg, .sum') ? '' :
      [...e.childNodes].filter(n => !(n.nodeType === 1 && n.matches('.basis, .count, select, input'))).map(n => n.textContent).join('');
    const kind = e.matches('[data-place] *, nav a, footer a') ? e.parentElement.tagName : e.tagName;
    rows.push([kind.toLowerCase(), name.replace(/\\s+/g, ' ').trim(), box.left / innerWidth, box.right / innerWidth]);
  }
  return rows;
}"""


def describe(page, change: str = "") -> str:
    """A page as lines: what, in which twelfths, its words; digits and dates are left out.

    change: script that changes it first, in one go, as a live page may be drawn anew between two.
    """
    lines, before = [], ""
    for kind, text, left, right in page.evaluate(f"() => {{ {change}; return ({LAYOUT})(); }}"):
        words = re.sub(r"\b(Mon|Tue|Wed|Thu|Fri|Sat|Sun)\b|\b(Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b", "@", text)
        words = re.sub(r"[\d.,:–−-]*\d[\d.,:–−]*", "#", words)[:60]
        words = re.sub(r"updated (just now|# min ago)", "updated @", words)   # a machine that is busy takes its time
        # where text ends, and where a cell begins, is the font's: blocks say how far they reach, headings where they begin
        place = f"{round(12 * left):2d}-{round(12 * right):2d}" if kind in BLOCKS else f"{round(12 * left):2d}" if kind in HEADS else ""
        line = f"{kind:7s} {place:5s} {words}".rstrip()
        if kind in ("th", "dt", "label", "button") and line == before:
            continue    # a list of the like is one line, whatever its length
        lines.append(line)
        before = line
    return "\n".join(lines) + "\n"


def main() -> None:
    """Write all snapshots from the fixture's log."""
    from playwright.sync_api import sync_playwright

    from tests.dashboard.conftest import DAYS
    from tests.dashboard.test_browser import CHROMIUM, QUIET, serve
    from tests.store_fixture import fill

    FOLDER.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        process, base = serve(fill(Path(folder) / "ampledger.db", DAYS, beat_s=60.0))
        try:
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
                for width in WIDTHS:
                    page = browser.new_page(viewport={"width": width, "height": 844})
                    for name, path in SCREENS.items():
                        page.goto(base + path)
                        (FOLDER / f"{name}-{width}.txt").write_text(describe(page))
                browser.close()
        finally:
            process.terminate()
            process.wait(10)
    print(f"{len(SCREENS) * len(WIDTHS)} snapshots written into {FOLDER}")


if __name__ == "__main__":
    sys.exit(main())
