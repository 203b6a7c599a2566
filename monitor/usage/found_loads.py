"""Loads found by their steps and named by the owner: what each took today, yesterday and on a usual day.

A load is known by the current it takes and by how long it runs. Of every run each known load gets its part by Bayes' rule,
so that two loads of like size are told apart where their runs differ, and make the range wider where they do not.
"""
from math import exp, hypot, log
from typing import ClassVar

from monitor.battery.label import NamedLoad, Vehicle
from monitor.findings import Z95, Event, JoinFindings
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute
from monitor.usage import current_steps, fridge, load_runs, run_kinds
from monitor.usage.counts import CountsState
from monitor.usage.current_steps import CurrentLevel
from monitor.usage.history import DAY_SLOTS
from monitor.usage.load_book import Book, close_day, note_time
from monitor.usage.load_runs import LoadRun, Reading
from monitor.usage.loads import LOST_S, LoadsState
from monitor.usage.run_kinds import FoundLoad

P = table("usage", "found_loads")
RESTLESS_S, CLOUD_STEPS, CALM_STEPS = P.number("restless_s"), P.number("cloud_steps"), P.number("calm_steps")
#: Event that says what each named load took in a day; its figures are "NAME ah", "NAME low_ah" and "NAME high_ah".
DAY_EVENT = "loads_day"
FRIDGE_LN = P.number("fridge_ln")
COMPARE_S = P.number("compare_s")


@dataclass(frozen=True, slots=True)
class FoundLoadsState:
    """The loads that were found, what may be on, and the day's book."""

    level: CurrentLevel = CurrentLevel()
    readings: tuple[Reading, ...] = (Reading(),)    # ways to read the steps, the likeliest first
    restless: float = 0.0               # steps lately, fading
    rest_s: float = 0.0                 # when they were last compared with the whole load
    visible_s: float | None = None      # since when steps can be seen
    found: tuple[FoundLoad, ...] = ()
    next_number: int = 1
    book: Book = Book()
    news: tuple[Event, ...] = ()
    #: whose bearers were looked for among the loads as they are, None: not yet
    looked_for: tuple[NamedLoad, ...] | None = None

    #: fields that states of an earlier log do not have
    ADDED_LATER: ClassVar[frozenset[str]] = frozenset({"looked_for"})


def begin() -> FoundLoadsState:
    """Nothing found yet."""
    return FoundLoadsState()


def update(state: FoundLoadsState, minute: Minute, vehicle: Vehicle, join: JoinFindings, loaded: LoadsState,
           counted: CountsState) -> FoundLoadsState:
    """One minute further.

    state: what was kept after the minute before; minute: what was measured; vehicle: what its owner said of it, with the names of
    loads; join: what is known of engine and isolator; loaded: the split into loads and sun after this minute; counted: the day's
    counts, whose day this one keeps.
    """
    if state.news:
        state = replace(state, news=())
    if counted.today.start_s != state.book.start_s:
        state = _new_day(state, counted.today.start_s, vehicle, loaded)
    if state.looked_for != vehicle.named_loads:
        found, number = run_kinds.with_named(state.found, vehicle.named_loads, state.next_number)
        state = replace(state, found=found, next_number=number, looked_for=vehicle.named_loads if found is state.found else None)
    with_sun = minute.solar_current_a is not None
    charging = join.engine in ("running", "cranking") or loaded.curtailed and not with_sun
    if minute.house_current_a is None or minute.gap_s > LOST_S or charging:
        return _hide(replace(state, level=current_steps.is_lost(state.level)), minute, loaded)
    # where readings come seldom, a short run of the fridge shows but once
    expected_a = run_kinds.usual_a(state.found) if len(minute.samples) < 2 else None
    level, steps, _ = current_steps.follow(state.level, minute, expected_a, with_sun)
    restless = state.restless * exp(-minute.duration_s / RESTLESS_S) + len(steps)
    dark = with_sun or not _is_day(loaded)
    if not dark and restless > (CALM_STEPS if state.visible_s is None else CLOUD_STEPS):
        # clouds switch more than any household
        return _hide(replace(state, level=level, restless=load_runs.shorten(restless)), minute, loaded)
    visible_s = minute.start_s if state.visible_s is None else state.visible_s
    book = note_time(state.book, minute.end_s, minute.duration_s, "clear" if dark else "dim", loaded)
    state = replace(state, level=level, restless=load_runs.shorten(restless), visible_s=visible_s, book=book)
    if steps:
        known = run_kinds.LengthCosts(state.found)
        for step in steps:
            state = replace(state, readings=load_runs.switch(state.readings, step, known, visible_s))
        return _settle(replace(state, rest_s=0.0), False, dark)
    if state.readings[0].on or len(state.readings) > 1:
        return _compare(state, minute.end_s, dark, loaded.base_a or 0.0)
    return state


def _hide(state: FoundLoadsState, minute: Minute, loaded: LoadsState) -> FoundLoadsState:
    """A minute in which steps cannot be seen: what is on ends unseen, and the time goes by what is usual."""
    state = replace(state, book=note_time(state.book, minute.end_s, minute.duration_s, "hidden", loaded))
    if state.visible_s is None:
        return state
    state = _settle(state, True, False)
    runs = load_runs.hide(state.readings[0].on, minute.start_s)
    return _count(replace(state, readings=(Reading(),), visible_s=None), runs, False)


def _compare(state: FoundLoadsState, at_s: float, dark: bool, base_a: float) -> FoundLoadsState:
    """What is thought to be on, in the light of the whole load: once after each step, and now and then.

    Under a sun that is not measured nothing says that a load, or a cloud, is over but how long it has been.
    """
    if not dark:
        over = run_kinds.too_long(state.found, state.readings[0].on, at_s)
        if not over:
            return state
        state = _settle(state, True, False)
        on = tuple(load for load in state.readings[0].on if load not in over)
        return _count(replace(state, readings=(Reading(on),)), load_runs.hide(over, at_s), False)
    if state.level.amperes is None or state.rest_s and at_s - state.rest_s < COMPARE_S:
        return state
    readings = load_runs.weigh_rest(state.readings, max(-state.level.amperes, 0.0), base_a, at_s)
    return _settle(replace(state, readings=readings, rest_s=at_s), False, dark)


def _settle(state: FoundLoadsState, whole: bool, dark: bool) -> FoundLoadsState:
    """Count the runs that every reading of the steps has; whole: all of the likeliest one's."""
    readings, runs = load_runs.settle(state.readings, whole or bool(state.readings) and not state.readings[0].on)
    return _count(replace(state, readings=readings), runs, dark)


def _is_day(loaded: LoadsState) -> bool:
    """Whether the sun may be up: its hours are learnt, or taken as wide."""
    if loaded.slot is None:
        return True
    slot = loaded.slot.number % DAY_SLOTS
    return loaded.sky.rise - 1 <= slot <= loaded.sky.set


def _count(state: FoundLoadsState, runs: tuple[LoadRun, ...], dark: bool) -> FoundLoadsState:
    """Give each run to the loads it may be of; dark: no cloud can have made it, so that it may be of a load not known yet."""
    found, number, book = state.found, state.next_number, state.book
    for run in sorted(runs, key=lambda run: run.off_s):
        chances = run_kinds.chances(found, run, dark)
        if not run.seen_start:
            run = run_kinds.with_start(found, run, chances)
        book = book.with_run(run, chances)
        if run.seen_end and run.seen_start:
            found, number = run_kinds.learn(found, run, chances, number, dark)
        else:
            found = run_kinds.note_seen(found, run, chances)
    return replace(state, found=found, next_number=number, book=book, looked_for=state.looked_for if found is state.found else None)


def _new_day(state: FoundLoadsState, start_s: float, vehicle: Vehicle, loaded: LoadsState) -> FoundLoadsState:
    """The day that ends goes to the days before; what is on is counted to it up to now."""
    state = _settle(state, True, True)
    book, on = state.book, []
    for load in state.readings[0].on:
        taken_as = load.taken_by(start_s)
        run = LoadRun(load.on_s, start_s, load.first_a, taken_as, seen_end=False)
        book = book.with_run(run, run_kinds.chances(state.found, run, True))
        on.append(replace(load, counted_as=load.counted_as + taken_as))
    found = run_kinds.tidy(state.found, start_s, frozenset(run_kinds.find_named(state.found, vehicle.named_loads)))
    book = close_day(book, found, fridge_among(found, loaded), start_s)
    names = run_kinds.find_named(found, vehicle.named_loads)
    return replace(state, readings=(Reading(tuple(on)),), found=found, book=book, news=_day_event(book, names, start_s), looked_for=None)


def _day_event(book: Book, names: dict[int, str], at_s: float) -> tuple[Event, ...]:
    """What each named load took in the day that ended; nothing where that is not known, or nothing has a name."""
    took: dict[str, tuple[float, float]] = {}
    for load in book.loads if book.whole else ():
        if load.number in names and load.days:
            ah, sigma = took.get(names[load.number], (0.0, 0.0))
            took[names[load.number]] = ah + load.days[-1][0], hypot(sigma, load.days[-1][1])
    if not took:
        return ()
    figures = tuple((f"{name} {what}", load_runs.shorten(value)) for name, (ah, sigma) in took.items() for what, value in (
        ("ah", ah), ("low_ah", max(ah - Z95 * sigma, 0.0)), ("high_ah", ah + Z95 * sigma)))
    words = ", ".join(f"{name} {ah:.1f} Ah" for name, (ah, _) in took.items())
    return (Event(at_s, DAY_EVENT, "house", f"Loads of the day: {words}.", figures),)


def fridge_among(found: tuple[FoundLoad, ...], loaded: LoadsState) -> tuple[int, tuple[float, ...]] | None:
    """Which of the loads is the fridge that the loads' tracker knows, and its share of the time in each part of the day.

    found: the loads; loaded: the split into loads and sun, with what is known of the fridge.
    """
    size, duties = fridge.amperes(loaded.cold), fridge.duties(loaded.cold, loaded.day_c)
    near = [load for load in found if size is not None and abs(log(load.current_a / size)) < FRIDGE_LN]
    if not near or duties is None:
        return None
    return max(near, key=lambda load: load.runs).number, duties
