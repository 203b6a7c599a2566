"""Pictures without a script: every figure of the pages, its points where they belong, gaps as gaps."""
import re
from xml.etree import ElementTree

import pytest

from dashboard import charts, health_chart, log_chart, picture, tonight_chart
from dashboard.palette import DAY
from tests.dashboard.test_charts import MIDNIGHT, charge, clock, columns, forecast, log_figure

HOURS = 36


def parsed(figure: dict) -> ElementTree.Element:
    """The picture as elements; a mistake in its writing ends the test."""
    return ElementTree.fromstring(str(picture.draw(figure)).replace("<br>", "<br/>"))


def lines(root: ElementTree.Element, colour: str) -> list[str]:
    return [path.get("d") for path in root.iter("path") if path.get("stroke") == colour and "L" in path.get("d")]


def one_line(y: list, **axis) -> dict:
    x = [0, 1000, 2000, 3000, 4000][:len(y)]
    return {"data": [charts.line(x, y, "y", "red", "one")],
            "layout": charts.sheet(DAY, 200, {"yaxis": {"range": [0, 100]} | axis, "xaxis": {"range": [0, 4000]}})}


@pytest.mark.parametrize("figure", [
    log_figure(columns(48, range(20, 24)), picture.INKS),
    log_chart.starter_figure(columns(48), [(MIDNIGHT, MIDNIGHT + 9e3)], clock, picture.INKS),
    tonight_chart.figure(forecast(), charge(), MIDNIGHT, 0.2, ((-3600.0, 30000.0),), [(MIDNIGHT - 3600, 0.6), (MIDNIGHT, None)], clock,
                         picture.INKS),
    health_chart.depth_figure([3.0, 5.0, 1.0], picture.INKS),
    health_chart.sources_figure([MIDNIGHT], [20.0], [5.0], [0.0], [22.0], 86400.0, clock, picture.INKS),
], ids=["log", "starter", "tonight", "depths", "sources"])
def test_every_figure_of_ours_has_a_picture(figure: dict) -> None:
    root = parsed(figure)
    assert len(list(root.iter("path"))) > 3 and root.find(".//svg").get("aria-hidden") == "true"
    for path in root.iter("path"):
        assert re.fullmatch(r"[MLHVZ\d. -]+", path.get("d")), path.get("d")[:80]
    assert not re.search(r"#[0-9a-f]{6}|nan|inf\b", str(picture.draw(figure))), "colours come from the style sheet"


def test_a_point_lies_where_its_axes_say() -> None:
    root = parsed(one_line([0, 50, 100]))
    assert lines(root, "red") == ["M0 1000L250 500L500 0"]


def test_a_gap_lifts_the_pen() -> None:
    assert lines(parsed(one_line([10, 20, None, 30, 40])), "red") == ["M0 900L250 800M750 700L1000 600"]


def test_two_axes_share_the_height_by_their_parts() -> None:
    figure = one_line([0, 100], domain=[0.5, 1.0])
    assert lines(parsed(figure), "red") == ["M0 500L250 0"]


def test_ticks_are_at_moments_that_a_person_reads() -> None:
    figure = tonight_chart.figure(forecast(), charge(), MIDNIGHT, 0.2, (), [], clock, DAY)
    words = [span.text for span in parsed(figure).iter("span") if "xt" in span.get("class", "")]
    assert words and all(re.fullmatch(r"\d\d:\d\d", word) for word in words) and len(words) <= picture.TICKS_ACROSS + 1


def test_a_short_span_of_volts_has_ticks_that_differ() -> None:
    figure = {"data": [charts.line([0, 1000], [12.64, 12.68], "y", "red", "volts")],
              "layout": charts.sheet(DAY, 200, {"yaxis": {"ticksuffix": " V"}})}
    ticks = [span.text for span in parsed(figure).iter("span") if span.get("class") == "yt"]
    assert len(ticks) >= 2 and len(set(ticks)) == len(ticks) and all(t.endswith(" V") for t in ticks)


def test_nothing_to_draw_is_an_empty_sheet() -> None:
    assert parsed({"data": [], "layout": charts.sheet(DAY, 200, {"yaxis": {}})}).find(".//svg") is not None
