"""Rows in, Plotly figures out: plain dictionaries, intervals drawn as bands, gaps as gaps."""
from collections.abc import Callable, Sequence
from typing import Any

from dashboard.palette import Palette

Figure = dict[str, Any]
#: UTC seconds to milliseconds of the local clock, as Plotly's date axis wants them.
Clock = Callable[[Sequence[float]], list[int]]

#: How times are written at each zoom; what follows the line break is printed only where it changes.
TICKS = [
    {"dtickrange": [None, 60_000], "value": "%H:%M:%S\n%a %-d"},
    {"dtickrange": [60_000, 43_200_000], "value": "%H:%M\n%a %-d"},
    {"dtickrange": [43_200_000, 2_419_200_000], "value": "%-d %b\n%Y"},
    {"dtickrange": ["M1", "M6"], "value": "%b\n%Y"},
    {"dtickrange": ["M12", None], "value": "%Y"},
]
FACE = "system-ui, sans-serif"


def line(x: Sequence, y: Sequence, axis: str, colour: str, name: str, **more: Any) -> Figure:
    """One measured line. None in y leaves a gap.

    x: moments as the plot takes them; y: values in the axis's unit; axis: which vertical axis, in Plotly's short form ("y", "y2");
    colour: of the line; name: what the pop-up calls it; more: further keys of a Plotly trace.
    """
    trace = {
        "type": "scatter", "mode": "lines", "x": x, "y": y, "yaxis": axis, "name": name, "connectgaps": False,
        "line": {"color": colour, "width": 2}, "showlegend": False,
    }
    return trace | more


def band(x: Sequence, low: Sequence, high: Sequence, axis: str, fill: str, name: str,
         drawn: dict[tuple, list] | None = None) -> list[Figure]:
    """An interval as a band, one closed shape for each stretch without a gap.

    drawn : outlines in x by where the gaps are, shared by the bands of one figure so that they are packed once
    x : moments as the plot takes them
    low, high : ends of the interval in the axis's unit
    axis : which vertical axis ("y", "y2")
    fill : colour of the band
    name : what the pop-up calls it
    """
    known = tuple(a is not None and b is not None for a, b in zip(low, high, strict=True))
    if not any(known):
        return []
    stretches, start = [], None
    for i, here in enumerate((*known, False)):
        if here and start is None:
            start = i
        elif not here and start is not None:
            stretches.append((start, i))
            start = None
    outlines = {} if drawn is None else drawn
    if known not in outlines:
        outlines[known] = _around(x, x, stretches)
    return [{
        "type": "scatter", "mode": "lines", "x": outlines[known], "y": _around(high, low, stretches), "yaxis": axis,
        "name": name, "fill": "toself", "fillcolor": fill, "line": {"width": 0}, "hoverinfo": "skip", "showlegend": False,
    }]


def _around(there: Sequence, back: Sequence, stretches: Sequence[tuple[int, int]]) -> list:
    """Along one row of values and back along another, stretch by stretch, None between two."""
    path: list = []
    for start, end in stretches:
        path += [*there[start:end], *back[start:end][::-1], None]
    return path[:-1]


def ground(ends: Sequence[Any], colour: str) -> Figure:
    """A tinted stretch of time behind everything, from one moment to another."""
    x0, x1 = ends
    return {"type": "rect", "xref": "x", "yref": "paper", "x0": x0, "x1": x1, "y0": 0, "y1": 1,
            "fillcolor": colour, "line": {"width": 0}, "layer": "below"}


def upright(x: Any, colour: str, dash: str = "dot") -> Figure:
    """A vertical rule at one moment.

    x: the moment, as the plot takes it; colour: of the rule; dash: Plotly's name of the stroke.
    """
    return {"type": "line", "xref": "x", "yref": "paper", "x0": x, "x1": x, "y0": 0, "y1": 1,
            "line": {"color": colour, "width": 1.5, "dash": dash}}


def level(y: float, axis: str, colour: str) -> Figure:
    """A horizontal dashed rule across the plot, for a limit.

    y: where it lies, in the axis's unit; axis: which vertical axis ("y", "y2"); colour: of the rule.
    """
    return {"type": "line", "xref": "paper", "yref": axis, "x0": 0, "x1": 1, "y0": y, "y1": y,
            "line": {"color": colour, "width": 1.5, "dash": "dash"}}


def note(text: str, x: Any, y: float, yref: str, palette: Palette, **more: Any) -> Figure:
    """Words on the plot itself, in place of a legend.

    text: the words; x: moment, or place across from 0 to 1 where xref says so; y: height, in the unit that yref names; yref:
    vertical axis, or "paper" for 0 to 1; palette: colours of the page; more: further keys of a Plotly annotation.
    """
    return {"text": text, "x": x, "y": y, "xref": "paper", "yref": yref, "showarrow": False, "xanchor": "left",
            "yanchor": "bottom", "font": {"color": palette.faint, "size": 14, "family": FACE}} | more


def sheet(palette: Palette, height_px: int, axes: dict[str, Figure], **more: Any) -> Figure:
    """The layout every figure shares: no frame, ruled lines, no legend; axes by their Plotly names.

    palette: colours of the page; height_px: height of the figure; axes: settings by the axes' Plotly names; more: further keys of a
    Plotly layout.
    """
    layout: Figure = {
        "height": height_px, "margin": {"l": 44, "r": 8, "t": 28, "b": 48}, "showlegend": False,
        "paper_bgcolor": palette.sheet, "plot_bgcolor": palette.sheet, "hovermode": "x",
        "font": {"family": FACE, "size": 14, "color": palette.ink},
        "hoverlabel": {"bgcolor": palette.sheet, "bordercolor": palette.ink,
                       "font": {"color": palette.ink, "size": 14, "family": FACE}},
        "xaxis": {"type": "date", "showgrid": False, "linecolor": palette.ink, "ticks": "outside",
                  "tickcolor": palette.ink, "nticks": 6, "tickangle": 0, "automargin": False,
                  "tickformatstops": TICKS, "hoverformat": "%a %-d %b, %H:%M"},
    }
    for name, axis in axes.items():
        ruled = {} if name.startswith("x") else {
            "gridcolor": palette.rule, "zeroline": False, "nticks": 5, "fixedrange": True}
        layout[name] = layout.get(name, {}) | ruled | axis
    return layout | more


def rounded(column: Sequence[float | None], digits: int, scale: float = 1.0) -> list[float | None]:
    """Values for the plot, rounded so that the answer stays small; None stays a gap.

    column: the values; digits: decimals that are kept; scale: what they are multiplied with first (100: a percentage).
    """
    return [None if value is None else round(value * scale, digits) for value in column]
