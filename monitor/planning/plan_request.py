"""What is asked of a plan, as the command and the page write it down, and the way from there to its answer."""
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields, replace
from typing import Any

from monitor.planning import plan, plan_search
from monitor.planning.load_catalogue import Load, parse_load
from monitor.planning.logged_climate import with_log
from monitor.planning.logged_life import Logged
from monitor.planning.plan_candidates import make_usual, parse_system
from monitor.planning.trip import HEATED_C, Trip, make_trip
from monitor.planning.trip_life import Candidate


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """A plan as it is asked for; texts are those of `ampledger plan`.

    legs : (place, months) one after another; loads, systems : as they are written; find : lightest or smallest, "": no search
    most_short_pct : with find, nights in 100 that may be short; most_panel_w : that there is room for [W]
    drive_hours, standing_days, cabin_k, shore_every_days, days : of the trip; sun, air : the owner's monthly figures
    log_days : days of the log whose loads are taken, 0: none; heated_c : the cabin's least [°C]
    """

    legs: tuple[tuple[str, str], ...]
    loads: tuple[str, ...] = ()
    systems: tuple[str, ...] = ()
    find: str = ""
    most_short_pct: float = 2.0
    most_panel_w: float = 400.0
    drive_hours: float = 1.5
    standing_days: int = 2
    cabin_k: float = 3.0
    shore_every_days: int | None = None
    days: int | None = None
    sun: tuple[float, ...] | None = None
    air: tuple[float, ...] | None = None
    log_days: int = 0
    heated_c: float = HEATED_C


@dataclass(frozen=True, slots=True)
class PlanAnswer:
    """The trip in all its ways, every system on it, and the one that is recommended."""

    drawn: plan.Drawn
    results: tuple[plan.PlanResult, ...]
    best: plan.PlanResult


def read_twelve(text: str | None, what: str) -> tuple[float, ...] | None:
    """Twelve monthly figures as they are written: "1.8,2.6,…"; None where nothing is.

    text: as written; what: they are, for the sentence.

    Raises
    ------
    ValueError : they are no numbers
    """
    if not text:
        return None
    try:
        return tuple(float(part) for part in text.replace(";", ",").split(","))
    except ValueError:
        raise ValueError(f"{what} is {text!r}: write twelve numbers with commas, January first, a point in each") from None


def read_request(data: dict[str, Any]) -> PlanRequest:
    """A request from plain data, as as_data() writes it.

    Raises
    ------
    ValueError : it is none
    """
    known = {field.name for field in fields(PlanRequest)}
    if not set(data) <= known or "legs" not in data:
        raise ValueError("that is no request for a plan")
    tuples = {name: tuple(tuple(item) if isinstance(item, list) else item for item in value)
              for name, value in data.items() if isinstance(value, list)}
    return PlanRequest(**(data | tuples))


def as_data(request: PlanRequest) -> dict[str, Any]:
    """A request as plain data."""
    return asdict(request)


def check(request: PlanRequest, logged: Logged | None = None) -> tuple[Trip, list[Load], list[Candidate]]:
    """The trip, loads and systems that are asked for.

    request: as written; logged: loads and months of the log, where they are asked for.

    Raises
    ------
    ValueError : something that cannot be, in one sentence
    """
    trip = make_trip(request.legs, request.drive_hours, request.standing_days, request.cabin_k, request.shore_every_days, request.days,
                     request.heated_c, (request.sun, request.air))
    if logged is not None:
        trip = replace(trip, stops=tuple(replace(stop, climate=with_log(stop.climate, logged.climate)) for stop in trip.stops))
    loads = [*(logged.loads if logged is not None else ()), *(parse_load(text) for text in request.loads)]
    if not loads and not request.log_days:
        raise ValueError("there is no load to plan for; name at least one, as fridge, or kettle,800,0.2")
    systems = [parse_system(text) for text in request.systems]
    for system in systems:
        plan.check(system, trip)
    return trip, loads, systems


def work_out(request: PlanRequest, logged: Logged | None = None, progress: Callable[[float], None] | None = None) -> PlanAnswer:
    """The answer.

    request: as written; logged: loads and months of the log, where they are asked for; progress: is given the part that is done.

    Raises
    ------
    ValueError : something that cannot be, or a search that finds nothing, in one sentence
    """
    trip, loads, systems = check(request, logged)
    drawn = plan.prepare(trip, loads)
    searched = 0.0
    if request.find:
        searched = 0.7
        systems = _search(drawn, request, lambda done: progress(0.7 * done) if progress else None) + systems
    systems = systems or make_usual(drawn, request.drive_hours > 0, request.most_panel_w)
    if not systems:
        raise ValueError("there is no system to compare: name one, or give room for a panel, hours of driving or shore power")
    results = plan.compare(drawn, systems, lambda done: progress(searched + (1 - searched) * done) if progress else None)
    return PlanAnswer(drawn, tuple(results), plan.choose(results, request.most_short_pct / 100))


def _search(drawn: plan.Drawn, request: PlanRequest, progress: Callable[[float], None]) -> list[Candidate]:
    """The systems that a search of the grid comes to."""
    grid = plan_search.make_grid(engine=request.drive_hours > 0, most_panel_w=request.most_panel_w)
    found = plan_search.search(drawn, grid, request.most_short_pct / 100, request.find, progress=progress)
    if found.best is None:
        nearest = f"; nearest comes {found.nearest.name}" if found.nearest else ""
        raise ValueError(f"none of {found.looked_at} systems is short on no more than {request.most_short_pct:g} nights in 100{nearest}: "
                         "more panel, more driving, shore power or fewer loads would do it")
    return [found.best, *found.others]
