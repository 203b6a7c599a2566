"""Figures: what Plotly's own schema says of them, and that bands, gaps and limits are where they belong."""
import math

import plotly.graph_objects as go
import pytest

from dashboard import charts, log_chart, tonight_chart
from dashboard.log_chart import Columns
from dashboard.palette import DAY, NIGHT
from monitor.findings import ChargeFindings, Estimate, ForecastFindings, NotYet

NOT = NotYet("a test has to be written")
MIDNIGHT = 1782000000.0


def clock(times):
    return [round(1000 * t) for t in times]


def columns(count: int, hole: range = range(0)) -> Columns:
    """An hourly log with a hole in every column."""
    def column(value):
        return [None if i in hole else value(i) for i in range(count)]

    wave = column(lambda i: math.sin(i / 4))
    return Columns(
        [MIDNIGHT + 3600.0 * i for i in range(count)],
        *(column(lambda i, d=d: 0.6 + 0.2 * math.sin(i / 9) + d) for d in (0, -0.05, 0.05)),
        wave, *(column(lambda i, d=d: math.sin(i / 4) + d) for d in (-1, 1)),
        *(column(lambda i, d=d: 12.6 + d) for d in (0, -0.1, 0.1)),
        *(column(lambda i, d=d: 12.7 + d) for d in (0, -0.02, 0.02)),
        column(lambda i: 1.0 if i in (5, 6) else 0.0), column(lambda i: 21.0 + i / 12))


def charge(value: float = 0.62) -> ChargeFindings:
    held = Estimate(value, value - 0.04, value + 0.04, "counting")
    return ChargeFindings(held, NOT, NOT, NOT, NOT, NOT)


def forecast(**more) -> ForecastFindings:
    fan = tuple((1800.0 + 3600 * i, 0.55 - 0.01 * i, 0.6 - 0.01 * i, 0.65 - 0.01 * i) for i in range(36))
    return ForecastFindings(0.0, 0.27, fan=fan, sun_back_in_s=11 * 3600.0, **more)


def log_figure(rows: Columns, palette=DAY):
    return log_chart.figure(rows, [(MIDNIGHT + 7200, "It rained.")], [(MIDNIGHT + 7200, MIDNIGHT + 9000)],
                            MIDNIGHT, MIDNIGHT + 3600 * 48, 0.2, clock, palette)


def traces(figure: dict, name: str) -> list[dict]:
    return [t for t in figure["data"] if t["name"] == name]


@pytest.mark.parametrize("palette", [DAY, NIGHT])
def test_plotly_accepts_every_figure(palette) -> None:
    """plotly.graph_objects refuses any name or value that its published schema does not know."""
    rows = columns(48, range(20, 24))
    go.Figure(log_figure(rows, palette))
    go.Figure(log_chart.starter_figure(rows, [], clock, palette))
    go.Figure(tonight_chart.figure(forecast(), charge(), MIDNIGHT, 0.2, ((-3600.0, 30000.0),),
                                   [(MIDNIGHT - 3600, 0.7), (MIDNIGHT, None)], clock, palette))


@pytest.mark.parametrize("rows", [columns(0), columns(1), columns(3, range(3))])
def test_a_log_with_next_to_nothing_in_it_still_makes_figures(rows: Columns) -> None:
    go.Figure(log_figure(rows))
    go.Figure(log_chart.starter_figure(rows, [], clock, DAY))
    nothing = ForecastFindings(0.0, None, "no reason")
    go.Figure(tonight_chart.figure(nothing, charge(), MIDNIGHT, 0.2, (), [], clock, DAY))


def test_a_gap_is_a_gap_in_every_line_and_band() -> None:
    hole = range(20, 24)
    figure = log_figure(columns(48, hole))
    (held,) = traces(figure, "charge")
    assert [i for i, v in enumerate(held["y"]) if v is None] == list(hole) and held["connectgaps"] is False
    (interval,) = traces(figure, "95 %")
    assert interval["x"].count(None) == 1 and len(interval["x"]) == 2 * 44 + 1
    lost = {1000 * (MIDNIGHT + 3600 * i) for i in hole}
    for trace in figure["data"]:
        assert not lost & {x for x, y in zip(trace["x"], trace["y"]) if y is not None and x is not None}


def test_a_band_lies_around_its_line() -> None:
    (shape,) = charts.band([1, 2, 3], [0.0, 1.0, 2.0], [1.0, 2.0, 3.0], "y", "red", "b")
    assert shape["x"] == [1, 2, 3, 3, 2, 1] and shape["y"] == [1.0, 2.0, 3.0, 2.0, 1.0, 0.0]
    assert charts.band([1, 2], [None, 1.0], [2.0, None], "y", "red", "b") == []


def test_received_is_drawn_above_the_line_and_spent_below() -> None:
    figure = log_figure(columns(48))
    received, spent = traces(figure, "received")[-1], traces(figure, "spent")[-1]
    assert all(v > 0 for v in received["y"] if v is not None) and all(v < 0 for v in spent["y"] if v is not None)
    assert all((a is None) != (b is None) for a, b in zip(received["y"][1:], spent["y"][1:]))


def test_the_reserve_is_drawn_where_it_lies_and_gaps_are_tinted() -> None:
    shapes = log_figure(columns(48))["layout"]["shapes"]
    assert [s["y0"] for s in shapes if s["type"] == "line"] == [20.0]
    (tinted,) = [(s["x0"], s["x1"]) for s in shapes if s["type"] == "rect"]
    assert tinted == (1000 * (MIDNIGHT + 7200), 1000 * (MIDNIGHT + 9000))


def test_joined_times_are_marked_and_never_when_there_were_none() -> None:
    (bar,) = traces(log_figure(columns(48)), "joined")
    assert [i for i, v in enumerate(bar["y"]) if v is not None] == [5, 6]
    assert traces(log_figure(columns(4)), "joined") == []


def test_the_fan_begins_at_the_charge_of_now_with_an_80_percent_band() -> None:
    """The estimate's interval is 95 % of a normal (1.96 sigma), the fan's 80 % (1.2816 sigma)."""
    figure = tonight_chart.figure(forecast(), charge(0.62), MIDNIGHT, 0.2, (), [], clock, DAY)
    (middle,) = traces(figure, "likely")
    assert middle["x"][0] == 1000 * MIDNIGHT and middle["y"][0] == 62.0
    low, high = middle["customdata"][0]
    assert high - low == pytest.approx(8.0 * 1.2816 / 1.96, abs=0.11)


def test_night_and_the_suns_return_are_drawn() -> None:
    figure = tonight_chart.figure(forecast(), charge(), MIDNIGHT, 0.2, ((-3600.0, 30000.0),), [], clock, DAY)
    (night,) = (s for s in figure["layout"]["shapes"] if s["type"] == "rect")
    assert (night["x0"], night["x1"]) == (1000 * (MIDNIGHT - 3600), 1000 * (MIDNIGHT + 30000))
    assert "solar takes over" in " ".join(a["text"] for a in figure["layout"]["annotations"])


def test_nights_at_a_place_agree_with_the_almanac() -> None:
    """Greenwich, 2026-03-20, equinox day: sunset 18:14 and next sunrise 06:02 UTC, from memory of HM Nautical
    Almanac Office tables (rounded to the minute, refraction and limb included); held to three minutes.
    """
    noon = 1774008000.0  # 2026-03-20 12:00 UTC
    first = next((a, b) for a, b in tonight_chart.nights_at(noon, 51.4779, 0.0) if a > 0)
    assert first[0] == pytest.approx(6 * 3600 + 14 * 60, abs=180)
    assert first[1] == pytest.approx(18 * 3600 + 2 * 60, abs=180)


@pytest.mark.parametrize("latitude_deg", [-90.0, -70.0, 0.0, 69.0, 90.0])
@pytest.mark.parametrize("utc_s", [1782000000.0, 1797800000.0])
def test_no_place_on_earth_breaks_the_nights(latitude_deg: float, utc_s: float) -> None:
    for start, stop in tonight_chart.nights_at(utc_s, latitude_deg, 25.0):
        assert start < stop <= 36 * 3600


def test_the_starters_axis_is_cut_to_what_it_does_alone() -> None:
    rows = columns(48)
    spiky = [14.2 if i in (5, 6) else 12.70 - 0.001 * i for i in range(48)]
    rows = Columns(*(getattr(rows, n) if n != "starter_voltage_v" else spiky for n in Columns.__slots__))
    low, high = log_chart.starter_figure(rows, [], clock, DAY)["layout"]["yaxis"]["range"]
    assert 12.4 < low < 12.66 and 12.70 < high < 12.95
