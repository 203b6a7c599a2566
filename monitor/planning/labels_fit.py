"""Whether a battery goes into a tray: length, width and height, standing or lying, with room beside it and above its posts."""
from dataclasses import dataclass

from monitor.parameters import table
from monitor.planning.labels import SIDES_MM, BatteryLabel
from monitor.planning.labels_codes import Size
from monitor.planning.labels_ratings import TABLES

BESIDE_MM, ABOVE_MM = float(TABLES["fit"]["beside_mm"]), float(TABLES["fit"]["above_posts_mm"])
POSTS_MM = table("planning", "labels_fit").number("posts_mm")


@dataclass(frozen=True, slots=True)
class Tray:
    """Room inside a tray [mm]; lying_allowed: whether its owner would lay a battery down there."""

    length_mm: float
    width_mm: float
    height_mm: float
    lying_allowed: bool = False


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether it fits: "yes", "tight" (within what the size may be off), "no" or "unknown"; how it stands; the reasons."""

    verdict: str
    posture: str
    reasons: tuple[str, ...]


def read_tray(text: str, lying_allowed: bool = False) -> Tray:
    """A tray as length x width x height in mm.

    >>> read_tray("300x180x230")
    Tray(length_mm=300.0, width_mm=180.0, height_mm=230.0, lying_allowed=False)

    Raises
    ------
    ValueError : not three sides, or a side that no tray has
    """
    parts = text.lower().replace("mm", "").replace("×", "x").replace("*", "x").split("x")
    try:
        sides = [float(part.replace(",", ".")) for part in parts]
    except ValueError:
        sides = []
    if len(sides) != 3:
        raise ValueError(f"tray is {text!r}: write its length x width x height inside, in mm, as 300x180x230")
    for side in sides:
        if not SIDES_MM[0] <= side <= 2 * SIDES_MM[1]:
            raise ValueError(f"a side of the tray is {side:g} mm: it must lie between {SIDES_MM[0]:g} and {2 * SIDES_MM[1]:g} mm")
    return Tray(max(sides[:2]), min(sides[:2]), sides[2], lying_allowed)


def check_fit(label: BatteryLabel, tray: Tray) -> Fit:
    """Whether the battery of a label goes into a tray, standing or, where that is allowed, lying.

    Free acid stays upright; sealed lead-acid (AGM, gel) and lithium may lie on a side where their maker says so, never upside down.
    """
    if label.size is None:
        return Fit("unknown", "", ("its size is not on the label: measure it, or give length x width x height in mm",))
    size = label.size
    tall = size.height_mm + (0.0 if size.with_posts else POSTS_MM)
    standing = _compare("standing", (size.length_mm, size.width_mm, tall + ABOVE_MM), tray, size)
    if standing.verdict == "yes" or not tray.lying_allowed:
        return standing
    if label.kind in ("", "flooded"):
        return Fit(standing.verdict, standing.posture, (*standing.reasons, "lying is out: with free acid it must stand upright"
                                                        + ("" if label.kind else " (the label does not say that it is sealed)")))
    on_side = [_compare("lying on a side", sides, tray, size) for sides in (
        (size.length_mm, tall + ABOVE_MM, size.width_mm), (tall + ABOVE_MM, size.width_mm, size.length_mm))]
    best = min([standing, *on_side], key=lambda fit: ("yes", "tight", "no").index(fit.verdict))
    if best is standing:
        return Fit(standing.verdict, standing.posture, (*standing.reasons, "it does not fit lying either"))
    return Fit(best.verdict, best.posture, (*best.reasons, "lay it down only if its maker says so; never upside down"))


def _compare(posture: str, sides: tuple[float, float, float], tray: Tray, size: Size) -> Fit:
    """One way to put it in; sides: length, width (either way round) and height needed, posts and cover included [mm]."""
    long_mm, wide_mm = max(sides[:2]), min(sides[:2])
    lacks = [(what, need + beside - room) for what, need, beside, room in (
        ("length", long_mm, BESIDE_MM, tray.length_mm), ("width", wide_mm, BESIDE_MM, tray.width_mm),
        ("height", sides[2], 0.0, tray.height_mm))]
    worst = max(lack for _, lack in lacks)
    short = tuple(f"{what}: {lack:.0f} mm short" for what, lack in lacks if lack > 0)
    if worst <= -size.doubt_mm:
        return Fit("yes", posture, (f"{min(-lack for _, lack in lacks):.0f} mm to spare at the tightest side, with {BESIDE_MM:g} mm beside "
                                    f"it and {ABOVE_MM:g} mm above the posts",))
    if worst <= size.doubt_mm:
        return Fit("tight", posture, (*short, f"the size is known to {size.doubt_mm:g} mm: measure it"))
    return Fit("no", posture, short)
