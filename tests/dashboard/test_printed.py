"""The report as one file: on paper, on a phone, on a young log; and the drawings of a battery's life."""
import re
import subprocess
import sys
from pathlib import Path

import plotly.graph_objects as go
import pytest

from dashboard import health_chart, worst_nights
from dashboard.log_view import LogView, NoLogView
from dashboard.palette import DAY
from dashboard.printed import html
from monitor.findings import Event
from monitor.store.batch import Batch
from monitor.store.open_log import OpenLog
from monitor.store.write_queue import WriteQueue
from monitor.wear.week import Week, event
from tests import store_fixture
from tests.dashboard.test_browser import CHROMIUM, QUIET, pytestmark  # noqa: F401

WEEK_S = 604800.0


def weeks(count: int, faded_frac: float = 0.0, missing: range = range(0)) -> list[tuple[float, Week]]:
    found = []
    for k in range(count):
        size = 60.0 * (1 - faded_frac * k / max(count - 1, 1))
        week = Week(k * WEEK_S, 0.01 + 0.0002 * k, 0.0002, size, 0.9 * size, 1.1 * size, 18.0, 0.35, 1.0, 60.0, 2)
        if k not in missing:
            found.append(((k + 1) * WEEK_S, week))
    return found


def _clock(times) -> list[int]:
    return [round(1000 * t) for t in times]


@pytest.fixture(scope="module")
def aged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two days of life with fourteen weeks on record before them, and a capacity test."""
    path = store_fixture.fill(tmp_path_factory.mktemp("aged") / "ampledger.db", 2.2, beat_s=60.0)
    log = OpenLog(path, {})
    told = tuple(event(week, 100.0 + k) for k, (_, week) in enumerate(weeks(14, 0.3)))
    test = Event(5000.0, "capacity_test", "house", "A test.",
                 (("capacity_ah", 47.0), ("low_ah", 45.0), ("high_ah", 49.0), ("reached_end", 1.0)))
    pending = WriteQueue()
    pending.add(Batch(events=(*told, test)))
    log.write(pending)
    log.close()
    return path


def _write(database: Path, out: Path, *more: str) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-m", "monitor", "report", "--database", str(database), "--output", str(out), *more],
                          capture_output=True, text=True, check=False)


def test_the_report_is_one_file_that_asks_for_nothing(aged: Path, tmp_path: Path) -> None:
    done = _write(aged, tmp_path / "report.html")
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "report.html").read_text()
    own = re.sub(r"<script>.*?</script>", "", text, flags=re.S)      # Plotly names its home in a comment
    assert not re.search(r"""(?:src|href)=["'](?!data:|#)""", own) and "@import" not in own and "SIMULATED" in own
    for heading in ("Evidence", "Week by week", "Use, and charge by source", "The worst nights", "Battery history", "Capacity tests",
                    "The same weeks with another set-up", "Alerts", "Method and sources", "Take care"):
        assert heading in own, heading
    assert "47 Ah (45–49)" in own and "59 → 43" in own
    assert list(tmp_path.iterdir()) == [tmp_path / "report.html"]


def test_a_young_log_says_what_is_not_known_yet_and_why(full: Path) -> None:
    text = html(LogView(full))
    assert "Not known yet, because the log is 3 days long and the first week is not over." in text
    assert "Not known yet, because it takes 7 days of log." in text


def test_what_cannot_be_reported_on_is_one_clear_error(tmp_path: Path, make_log) -> None:
    done = _write(tmp_path / "none.db", tmp_path / "r.html")
    assert done.returncode == 1 and len(done.stderr.strip().splitlines()) == 1 and "none.db" in done.stderr
    with pytest.raises(NoLogView, match="empty"):
        html(LogView(make_log("empty")))
    bad = _write(make_log("simulated"), tmp_path / "r.html", "--with", "capacity=huge")
    assert bad.returncode == 2 and "not a number" in bad.stderr and not (tmp_path / "r.html").exists()


@pytest.mark.skipif(CHROMIUM is None, reason="no browser here")
def test_it_fits_a_phone_a_desk_and_paper(aged: Path, tmp_path: Path) -> None:
    from playwright.sync_api import sync_playwright

    (tmp_path / "report.html").write_text(html(LogView(aged)))
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        for width in (390, 1280):
            page = browser.new_page(viewport={"width": width, "height": 900})
            complaints, asked = [], []
            page.on("console", lambda m, to=complaints: to.append(m.text))
            page.on("pageerror", lambda e, to=complaints: to.append(str(e)))
            page.on("request", lambda r, to=asked: to.append(r.url))
            page.goto((tmp_path / "report.html").as_uri())
            page.wait_for_selector("body[data-drawn]", timeout=20_000)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            wide = page.evaluate("[...document.querySelectorAll('.drawing .main-svg')].map(e => e.getBoundingClientRect().right)")
            assert len(wide) > 0 and max(wide) <= width
            assert complaints == [] and [url for url in asked if not url.startswith(("file:", "data:", "blob:"))] == []
        paper = page.pdf(format="A4", prefer_css_page_size=True)
        pages = len(re.findall(rb"/Type\s*/Page\b", paper))
        assert 3 <= pages <= 9
        page.emulate_media(media="print")
        page.evaluate("dispatchEvent(new Event('beforeprint'))")
        widths = page.evaluate("[...document.querySelectorAll('.drawing .main-svg')].map(e => e.getBoundingClientRect().width)")
        assert max(widths) <= 180 / 25.4 * 96, "as wide as A4 between its margins"
        browser.close()


def test_the_drawings_are_what_plotly_understands() -> None:
    figures = [health_chart.weeks_figure(weeks(26, 0.3), [9.5 * WEEK_S], 60.0, _clock, DAY),
               health_chart.weeks_figure([(1.0, Week(0.0))], [], 60.0, _clock, DAY),
               health_chart.depth_figure((3.0, 2.0, 0.5, 0, 0, 0, 0, 0, 0, 0.0), DAY),
               health_chart.sources_figure([0.0, 86400.0], [10.0, 4], [0.0, 20], [0.0, 0], [15.0, 14], 86400.0, _clock, DAY)]
    for figure in figures:
        go.Figure(figure)   # refuses what the schema does not know


def test_missing_weeks_and_a_new_battery_break_the_line() -> None:
    figure = health_chart.weeks_figure(weeks(12, missing=range(4, 7)), [9.5 * WEEK_S], 60.0, _clock, DAY)
    (size,) = [t for t in figure["data"] if t["name"] == "capacity"]
    assert [k for k, v in enumerate(size["y"]) if v is None] == [4, 7]


def test_a_night_goes_from_noon_to_noon_and_a_half_known_one_is_left_out() -> None:
    quarters = []
    for k in range(5 * 96):
        start = k * 900.0
        level = 0.2 if k == 96 + 20 else 0.9      # 05:00 of the second day: the first night
        known = k < 3 * 96 + 24 or k > 4 * 96
        quarters.append((start, start + 900, {"charge_frac": level if known else None, "charge_low_frac": level - 0.05,
                                              "charge_high_frac": level + 0.05, "charge_out_ah": 0.5}))
    found = worst_nights.nights(quarters, lambda t: t / 3600 % 24)
    assert [n.lowest_frac for n in found] == [0.9, 0.2, 0.9, 0.9, 0.9], "the fifth of six is half unknown"
    first = worst_nights.lines(found, 0.5, lambda t: f"day {t / 86400:.0f}, {t / 3600 % 24:02.0f}:00", 1)[0]
    assert first[1] == "20 % (15–25)" and first[4] == "below" and first[3] == "48 Ah"
