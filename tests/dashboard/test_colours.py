"""Colours: readable in sunlight and at night, the same in style sheet and drawings, apart for colour-blind eyes."""
import re
from pathlib import Path

import pytest

from dashboard.palette import DAY, NIGHT, Palette

STYLE = (Path(__file__).parents[2] / "dashboard/static/style.css").read_text()


def variables(night: bool) -> dict[str, str]:
    blocks = re.findall(r":root\s*\{(.*?)\}", STYLE, re.S)
    found = dict(re.findall(r"--([\w-]+):\s*([^;]+);", blocks[0]))
    return found | (dict(re.findall(r"--([\w-]+):\s*([^;]+);", blocks[1])) if night else {})


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_is_measured_as_the_guidelines_define_it() -> None:
    """Black on white is 21:1, and #767676 on white the well-known 4.54:1 (WCAG 2.2, 1.4.3)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("night", [False, True])
def test_every_ink_reaches_the_contrast_of_the_guidelines_on_every_ground(night: bool) -> None:
    """4.5:1 for text (WCAG 2.2, 1.4.3 AA); the main ink 7:1 and more, for sunlight (AAA)."""
    look = variables(night)
    for ground in ("sheet", "desk"):
        for ink in ("ink", "faint", "received", "spent", "starter"):
            assert contrast(look[ink], look[ground]) >= 4.5, (ink, ground)
        assert contrast(look["ink"], look[ground]) >= 12
    assert contrast(look["slip-ink"], look["slip"]) >= 7
    assert contrast(look["on-ink"], look["ink"]) >= 7 and contrast(look["on-ink"], look["spent"]) >= 4.5


@pytest.mark.parametrize("palette, night", [(DAY, False), (NIGHT, True)])
def test_drawings_use_the_inks_of_the_page(palette: Palette, night: bool) -> None:
    look = variables(night)
    for name in ("sheet", "ink", "faint", "rule", "received", "spent", "starter"):
        assert getattr(palette, name) == look[name]
