"""A grid of systems searched for the one that is asked for: the lightest that is short on no more than so many nights."""
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from monitor.battery.label import Chemistry
from monitor.battery.limits import limits_of
from monitor.parameters import table
from monitor.planning import plan
from monitor.planning.charging_paths import EnginePath
from monitor.planning.trip_life import Candidate

P = table("planning", "plan_search")
CAPACITIES_AH, PANELS_W, RATINGS_A = P.numbers("capacities_ah"), P.numbers("panels_w"), P.numbers("ratings_a")
MOST_PER_H, FIRST_DRAWS, LOOK_AGAIN = P.number("most_per_h"), P.count("first_draws"), P.number("look_again")
MOST_SHORT, NAMED, FIRST_SHARE = P.number("most_short_frac"), P.count("named"), P.number("first_share")
KINDS: tuple[Chemistry, ...] = ("agm", "lfp")
WANTED = ("lightest", "smallest")


@dataclass(frozen=True, slots=True)
class Found:
    """What a search came to: the best, others that do it too in their order, how many were looked at; best None: none does it."""

    best: Candidate | None
    others: tuple[Candidate, ...]
    looked_at: int
    nearest: Candidate | None = None


def make_grid(kinds: Sequence[Chemistry] = KINDS, engine: bool = True, most_panel_w: float = PANELS_W[-1],
              relay: EnginePath | None = None) -> list[Candidate]:
    """Systems of every size.

    kinds: chemistries; engine: whether it may charge from the engine; most_panel_w: that there is room for [W]; relay: the cable of a
    plain relay, None: the usual.
    """
    ways = [EnginePath()]
    if engine:
        ways += [relay or EnginePath("relay"), *(EnginePath("dcdc", rating_a=a) for a in RATINGS_A)]
    found = []
    for kind in kinds:
        for capacity in CAPACITIES_AH:
            for way in ways:
                for panel in PANELS_W:
                    if panel > most_panel_w or (way.kind == "none" and not panel) or (kind == "lfp" and way.kind == "relay"):
                        continue
                    if way.kind == "dcdc" and way.rating_a > MOST_PER_H * capacity:
                        continue
                    found.append(Candidate(describe(kind, capacity, panel, way), kind, capacity, limits_of(kind).reserve_frac, panel, way))
    return found


def describe(kind: Chemistry, capacity_ah: float, panel_w: float, way: EnginePath) -> str:
    """A system in a few words.

    kind: chemistry; capacity_ah: rated [Ah]; panel_w: label of the panels [W]; way: from the engine.
    """
    name = {"flooded": "flooded", "agm": "AGM", "gel": "gel", "lfp": "lithium"}[kind]
    charge = {"none": "", "relay": f", relay {way.length_m:g} m {way.area_mm2:g} mm²", "dcdc": f", DC-DC {way.rating_a:g} A"}[way.kind]
    return f"{name} {capacity_ah:g} Ah" + (f", panel {panel_w:g} W" if panel_w else "") + charge


def search(drawn: plan.Drawn, grid: Sequence[Candidate], most_short: float = MOST_SHORT, wanted: str = "lightest", count: int = NAMED,
           progress: Callable[[float], None] | None = None) -> Found:
    """The systems of a grid that are short on no more than a share of the nights, the lightest or smallest first.

    First a look in few ways of the trip at all; those that come near are then lived in every way, from the best on.
    drawn: the trip; grid: the systems; most_short: share of the nights, over all that is not known; wanted: lightest or smallest;
    count: of those that are named; progress: is given the part that is done.

    Raises
    ------
    ValueError : it is asked for something else
    """
    if wanted not in WANTED:
        raise ValueError(f"{wanted!r} cannot be searched for: write {' or '.join(WANTED)}")
    if not 0 < most_short < 1:
        raise ValueError(f"nights short is {100 * most_short:g} in 100: it must lie between 0 and 100")
    order = sorted(grid, key=lambda c: (plan.weight_kg(c).value, c.capacity_ah) if wanted == "lightest"
                   else (plan.litres(c).value, c.panel_w))
    first: list[tuple[Candidate, float]] = []
    for number, candidate in enumerate(order):
        first.append((candidate, plan.short_share(plan.weigh(drawn, candidate, FIRST_DRAWS))))
        if progress:
            progress(FIRST_SHARE * (number + 1) / len(order))
    near = [c for c, share in first if share <= LOOK_AGAIN * most_short]
    good: list[Candidate] = []
    for number, candidate in enumerate(near):
        if plan.short_share(plan.weigh(drawn, candidate)) <= most_short:
            good.append(candidate)
        if progress:
            progress(FIRST_SHARE + (1.0 - FIRST_SHARE) * (number + 1) / len(near))
        if len(good) == count:
            break
    nearest = min(first, key=lambda pair: pair[1])[0] if first else None
    return Found(good[0] if good else None, tuple(good[1:]), len(order), nearest)
