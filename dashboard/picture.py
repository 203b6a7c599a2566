"""A figure as a picture that needs no script: lines and bands as SVG, words as text beside it, sized by the page."""
from collections.abc import Sequence
from datetime import UTC, datetime
from math import floor, log10
from typing import Any

from markupsafe import Markup, escape

from dashboard.charts import Figure
from dashboard.palette import Palette
from dashboard.words import MONTHS, WEEKDAYS

#: The palette of the style sheet, so that day and night need no second picture.
INKS = Palette(
    sheet="var(--sheet)", ink="var(--ink)", faint="var(--faint)", rule="var(--rule)", dusk="var(--dusk)", gap="var(--gap)",
    received="var(--received)", spent="var(--spent)", starter="var(--starter)", received_band="var(--received-band)",
    spent_band="var(--spent-band)", starter_band="var(--starter-band)")
#: Units of the picture across and down.
WIDE, HIGH = 1000.0, 1000.0
MS, DAY_MS = 1000, 86_400_000
#: Lengths between two ticks of time that a person reads [ms], and between two of a quantity, by decade.
STEPS_MS = tuple(60_000 * m for m in (5, 10, 30, 60, 180, 360, 720)) + tuple(DAY_MS * d for d in (1, 2, 7, 14, 31, 92, 366))
STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
TICKS_ACROSS, TICKS_UP = 5, 4


def round_step(least: float) -> float:
    """The next of STEPS times a power of ten: what a person reads as round.

    >>> round_step(0.21), round_step(7.0)
    (0.25, 10.0)
    """
    decade = 10.0 ** floor(log10(least))
    return next(step * decade for step in STEPS if step * decade >= least)


def draw(figure: Figure) -> Markup:
    """The picture of a figure as the page's own elements."""
    layout = figure["layout"]
    across = _across(figure)
    axes = {name: _Axis(name, axis, figure) for name, axis in layout.items() if name.startswith("yaxis")}
    shapes: list[str] = []
    words: list[str] = []
    for name, axis in axes.items():
        if layout[name].get("visible", True):
            for value, text in axis.ticks():
                up = axis.up(value)
                shapes.append(f'<path d="M0 {_n(up)}H{_n(WIDE)}" stroke="var(--rule)"/>')
                words.append(f'<span class="yt" style="top:{up / HIGH:.2%}">{escape(text)}</span>')
    for shape in layout.get("shapes", ()):
        shapes.append(_shape(shape, across, axes))
    for trace in figure["data"]:
        drawn, said = _trace(trace, across, axes[f"yaxis{trace.get('yaxis', 'y')[1:]}"])
        shapes += drawn
        words += said
    words += [_tick(text, at) for at, text in across.ticks()]
    words += [_note(note, across, axes) for note in layout.get("annotations", ())]
    margin = layout["margin"]
    inset = f"inset:{margin['t']}px {margin['r']}px {margin['b']}px {margin['l']}px"
    return Markup(
        f'<div class="plot" style="height:{layout["height"]}px"><div class="in" style="{inset}">'
        f'<svg viewBox="0 0 {WIDE:.0f} {HIGH:.0f}" preserveAspectRatio="none" aria-hidden="true">{"".join(shapes)}'
        f'<path d="M0 {HIGH:.0f}H{WIDE:.0f}" stroke="var(--ink)"/></svg>{"".join(words)}</div></div>')


class _Across:
    """The axis of time, of names, or of a quantity."""

    def __init__(self, low: float, high: float, names: Sequence[str] = (), linear: bool = False) -> None:
        self.low, self.high, self.names, self.linear = low, max(high, low + 1), list(names), linear

    def at(self, value: Any) -> float:
        """Units from the left."""
        if self.names:
            return WIDE * (self.names.index(value) + 0.5) / len(self.names)
        return WIDE * (value - self.low) / (self.high - self.low)

    def ticks(self) -> list[tuple[float, str]]:
        """(units from the left, words) of what is written below."""
        if self.names:
            return [(self.at(name), str(name)) for name in self.names]
        span = self.high - self.low
        if self.linear:
            round_ = round_step(span / TICKS_ACROSS)
            return [(self.at(k * round_), f"{k * round_:g}") for k in range(int(self.low / round_), int(self.high / round_) + 1)]
        step = next((s for s in STEPS_MS if span / s <= TICKS_ACROSS), STEPS_MS[-1])
        first = -(-int(self.low) // step) * step
        found, before = [], ""
        for at in range(first, int(self.high) + 1, step):
            moment = datetime.fromtimestamp(at / MS, UTC)
            day = f"{WEEKDAYS[moment.weekday()]} {moment.day}" if step < DAY_MS else ""
            text = f"{moment:%H:%M}" if step < DAY_MS else f"{moment.day} {MONTHS[moment.month - 1]}" + (
                f" {moment.year}" if step > 80 * DAY_MS else "")
            found.append((self.at(at), text if day == before else f"{text}\n{day}".rstrip()))
            before = day
        return found


class _Axis:
    """One upright axis in its part of the picture."""

    def __init__(self, name: str, axis: Figure, figure: Figure) -> None:
        self.axis = axis
        self.bottom, self.top = axis.get("domain", (0.0, 1.0))
        reference = "y" + name.removeprefix("yaxis")
        values = [v for trace in figure["data"] if trace.get("yaxis", "y") == reference for v in trace["y"] if v is not None]
        low, high = axis["range"] if "range" in axis else (min(values, default=0.0), max(values, default=1.0))
        if "range" not in axis:
            low = min(low, 0.0) if axis.get("rangemode") == "tozero" or axis.get("zeroline") else low
            room = 0.06 * max(high - low, 0.02 * max(abs(high), abs(low)), 1e-3)
            low, high = low - (room if low else 0.0), high + room
        self.low, self.high = float(low), float(high) if high > low else float(low) + 1.0

    def up(self, value: float) -> float:
        """Units from the top; never far outside of the axis's own part."""
        part = (value - self.low) / (self.high - self.low)
        part = -0.02 if part < -0.02 else 1.02 if part > 1.02 else part     # min and max take three times as long, for each point
        return HIGH * (1 - (self.bottom + part * (self.top - self.bottom)))

    def ticks(self) -> list[tuple[float, str]]:
        """(value, words) of the ruled lines."""
        suffix, given = self.axis.get("ticksuffix", ""), self.axis.get("tickvals")
        if given is None:
            step = round_step((self.high - self.low) / TICKS_UP)
            first = -int(-self.low / step) if self.low < 0 else int(self.low / step + 0.999)
            given = [k * step for k in range(first, int(self.high / step) + 1)]
            digits = max(0, -floor(log10(step)) + (1 if step / 10.0 ** floor(log10(step)) == 2.5 else 0))
        else:
            digits = 0
        return [(v, f"{v:.{digits}f}{suffix}".replace("-", "−")) for v in given if self.low <= v <= self.high]


def _across(figure: Figure) -> _Across:
    axis = figure["layout"].get("xaxis", {})
    if axis.get("type") == "category":
        return _Across(0, 1, figure["data"][0]["x"] if figure["data"] else ())
    moments = [x for trace in figure["data"] for x in trace["x"] if x is not None]
    low, high = axis["range"] if "range" in axis else (min(moments, default=0), max(moments, default=1))
    return _Across(low, high, linear=axis.get("type") == "linear")


def _trace(trace: Figure, across: _Across, axis: _Axis) -> tuple[list[str], list[str]]:
    """The shapes of one trace, and its marks as words."""
    if trace["type"] == "bar":
        return _bars(trace, across, axis), []
    if trace["mode"] == "markers":
        marks = zip(trace["x"], trace["y"], trace["text"], strict=True)
        return [], [f'<span class="mark" title="{escape(text)}" style="left:{across.at(x) / WIDE:.2%};top:{axis.up(y) / HIGH:.2%}">▾</span>'
                    for x, y, text in marks]
    points, pen = [], "M"
    at, up = across.at, axis.up
    for x, y in zip(trace["x"], trace["y"], strict=True):
        if x is None or y is None:
            pen = "M"
            continue
        points.append(f"{pen}{at(x):.1f} {up(y):.1f}")
        pen = "L"
    if not points:
        return [], []
    path = "".join(points).replace(".0", "")    # as _n writes each of them
    if trace.get("fill") == "toself":
        return [f'<path d="{path}Z" fill="{trace["fillcolor"]}"/>'], []
    line = trace["line"]
    return [f'<path d="{path}" stroke="{line["color"]}" stroke-width="{line["width"]}" fill="none"/>'], []


def _bars(trace: Figure, across: _Across, axis: _Axis) -> list[str]:
    wide = WIDE * 0.7 / max(len(across.names), 1) if across.names else WIDE * trace.get("width", 0) / (across.high - across.low)
    zero, found = axis.up(0.0), []
    for x, y in zip(trace["x"], trace["y"], strict=True):
        top = axis.up(y)
        found.append(f'<rect x="{_n(across.at(x) - wide / 2)}" y="{_n(min(top, zero))}" width="{_n(wide)}" '
                     f'height="{_n(abs(top - zero))}" fill="{trace["marker"]["color"]}"/>')
    return found


def _shape(shape: Figure, across: _Across, axes: dict[str, _Axis]) -> str:
    """A tinted stretch, a limit, or a moment."""
    if shape["type"] == "rect":
        left, right = (min(max(across.at(shape[end]), 0.0), WIDE) for end in ("x0", "x1"))
        return f'<rect x="{_n(left)}" y="0" width="{_n(max(right - left, 0.0))}" height="{HIGH:.0f}" fill="{shape["fillcolor"]}"/>'
    line = shape["line"]
    dash = {"dash": ' stroke-dasharray="6 4"', "dot": ' stroke-dasharray="2 3"'}.get(line.get("dash", ""), "")
    if shape["xref"] == "paper":
        up = _n(axes[f"yaxis{shape['yref'][1:]}"].up(shape["y0"]))
        return f'<path d="M0 {up}H{WIDE:.0f}" stroke="{line["color"]}" stroke-width="{line["width"]}"{dash}/>'
    at = _n(across.at(shape["x0"]))
    return f'<path d="M{at} 0V{HIGH:.0f}" stroke="{line["color"]}" stroke-width="{line["width"]}"{dash}/>'


def _note(note: Figure, across: _Across, axes: dict[str, _Axis]) -> str:
    """Words on the picture itself; what colours it holds are ours."""
    left = across.at(note["x"]) / WIDE if note["xref"] == "x" else float(note["x"])
    top = 1 - note["y"] if note["yref"] == "paper" else axes[f"yaxis{note['yref'][1:]}"].up(note["y"]) / HIGH
    kind = f'{ {"left": "l", "center": "c", "right": "r"}[note["xanchor"]] }{"t" if note["yanchor"] == "top" else "b"}'
    return f'<span class="nt {kind}" style="left:{left:.2%};top:{top:.2%};color:{note["font"]["color"]}">{note["text"]}</span>'


def _tick(text: str, at: float) -> str:
    first, _, second = text.partition("\n")
    below = f"<br>{escape(second)}" if second else ""
    edge = " xl" if at < 0.04 * WIDE else " xr" if at > 0.96 * WIDE else ""
    return f'<span class="xt{edge}" style="left:{at / WIDE:.2%}">{escape(first)}{below}</span>'


def _n(value: float) -> str:
    """A length, as short as it may be."""
    return f"{value:.1f}".rstrip("0").rstrip(".")
