"""Small drawings made on the board as SVG: no library, no script, ink by the page's own colours."""
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from dashboard.picture import round_step


@dataclass(frozen=True, slots=True)
class Mark:
    """A value with its range, under a name; at: a limit of its own that is drawn beside it."""

    name: str
    value: float
    low: float
    high: float
    at: float | None = None


#: Sizes of the drawing in its own units: width, height of a row, of the words above it, and of the axis.
WIDTH, ROW, WORDS, AXIS = 340, 40, 15, 22


def draw_ranges(title: str, marks: Sequence[Mark], least: float, most: float) -> Markup:
    """Values with their 95 % ranges, one under the other on one axis from least to at most `most`, as narrow as the values allow.

    Each row is told in words for who cannot see it.

    title: what the picture shows, for who cannot see it; marks: the values with their ranges; least, most: ends of the axis, in the
    values' unit.
    """
    top = max([mark.high for mark in marks] + [mark.at for mark in marks if mark.at is not None], default=most)
    end = min(most, least + round_step(max(top - least, (most - least) / 10)))
    left, right = 6, WIDTH - 8

    def x(value: float) -> float:
        return round(left + (right - left) * (min(max(value, least), end) - least) / (end - least), 1)

    height = ROW * len(marks) + AXIS
    said = "; ".join(f"{mark.name}: {mark.value:.0f} ({mark.low:.0f} to {mark.high:.0f})" for mark in marks)
    parts = [f'<svg class="ranges" viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(title)}. {escape(said)}">']
    ticks = [least + (end - least) * k / 5 for k in range(6)]
    bottom = ROW * len(marks)
    for tick in ticks:
        parts.append(f'<path class="mark" d="M{x(tick)} 0V{bottom + 4}"/><text class="tick" x="{x(tick)}" y="{height - 5}" '
                     f'text-anchor="{"start" if tick == least else "end" if tick == end else "middle"}">{tick:g}</text>')
    for row, mark in enumerate(marks):
        y = ROW * row + WORDS + 12
        parts.append(f'<text class="name" x="{left}" y="{ROW * row + WORDS}">{escape(_short(mark.name))}</text>')
        if mark.at is not None:
            parts.append(f'<path class="limit" d="M{x(mark.at)} {y - 8}V{y + 8}"/>')
        parts.append(f'<path class="rail" d="M{x(mark.low)} {y}H{max(x(mark.high), x(mark.low) + 1)}"/>'
                     f'<circle class="{"today" if row == 0 else "other"}" cx="{x(mark.value)}" cy="{y}" r="5"/>')
    return Markup("".join(parts) + "</svg>")


def _short(name: str) -> str:
    return name if len(name) <= 46 else f"{name[:45]}…"
