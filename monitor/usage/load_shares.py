"""What the loads that were found took, by the names that their owner gave: today, yesterday, and on a usual day."""

from functools import lru_cache

from monitor.battery.label import Vehicle
from monitor.findings import Z95, Answer, Estimate, NotYet
from monitor.parameters import table
from monitor.replacing import dataclass
from monitor.usage import run_kinds
from monitor.usage.found_loads import FoundLoadsState, fridge_among
from monitor.usage.load_book import CURRENT_SIGMA, LoadDays, share_ah, total_ah
from monitor.usage.load_runs import LoadRun, OnLoad
from monitor.usage.loads import LoadsState
from monitor.usage.run_kinds import FoundLoad

NO_DAY = NotYet("one whole day has to pass")
#: A load that came once is shown while it is this young [s].
P = table("usage", "load_shares")
ONE_DAY = P.number("one_day_frac")


@dataclass(frozen=True, slots=True)
class LoadShare:
    """One load: its name ("" while it has none), current, usual run and time from start to start (0: not known), and its Ah."""

    number: int
    name: str
    current_a: Answer
    run_s: float
    every_s: float
    count: int
    last_on_s: float
    last_off_s: float
    is_on: bool
    today_ah: Answer = NO_DAY
    yesterday_ah: Answer = NO_DAY
    usual_ah_per_day: Answer = NO_DAY


@dataclass(frozen=True, slots=True)
class LoadSharesFindings:
    """All loads that were found, the named ones first, the whole load, and what of it has no name [Ah]."""

    loads: tuple[LoadShare, ...] = ()
    today_ah: Answer = NotYet("the first hours have to pass")
    yesterday_ah: Answer = NO_DAY
    usual_ah_per_day: Answer = NO_DAY
    unnamed_today_ah: Answer = NotYet("the first hours have to pass")
    unnamed_yesterday_ah: Answer = NO_DAY
    unnamed_usual_ah_per_day: Answer = NO_DAY
    because: str = ""       # why none of it is to be believed now; "": it is


#: (Ah, sigma); None: not known
Taken = tuple[float, float] | None


def findings(state: FoundLoadsState, vehicle: Vehicle, loaded: LoadsState, at_s: float) -> LoadSharesFindings:
    """What is known now.

    state: of the loads' tracker; vehicle: with the names; loaded: the split into loads and sun; at_s: the log's time [s].
    """
    names = run_kinds.find_named(state.found, vehicle.named_loads)
    days = {load.number: load for load in state.book.loads}
    cold = fridge_among(state.found, loaded) if any(state.book.hidden_s) else None     # it is asked of what could not be seen
    on: dict[int, float] = {}
    for now_on in state.readings[0].on:
        number, chance = max(run_kinds.chances(state.found, _so_far(now_on, at_s), True), key=lambda one: one[1], default=(0, 0.0))
        if chance > 0.5:
            on[number] = on.get(number, 0.0) + now_on.taken_by(at_s) / 3600
    shown, taken = [], []
    for load in state.found:
        if load.number in names or load.count > 1 or at_s - load.last_off_s < run_kinds.YOUNG_S:
            mine = days.get(load.number, LoadDays(load.number))
            duties = cold[1] if cold and cold[0] == load.number else None
            took = _find_shares(state, load, mine, on.get(load.number, 0.0), duties)
            shown.append(_share(load, names.get(load.number, ""), load.number in on, took))
            if load.number in names:
                taken.append(took)
    shown.sort(key=lambda share: (not share.name, -_value(share.usual_ah_per_day), -_value(share.today_ah)))
    book, whole = state.book, _mean(state.book.days)
    today = total_ah(book, at_s - book.start_s)
    yesterday = book.days[-1] if book.whole and book.days else None
    return LoadSharesFindings(
        tuple(shown), _answer(today, "the first hours have to pass"), _answer(yesterday), _answer(whole),
        _rest(today, [t[0] for t in taken], "the first hours have to pass"), _rest(yesterday, [t[1] for t in taken]),
        _rest(whole, [t[2] for t in taken]))


def _so_far(load: OnLoad, at_s: float) -> LoadRun:
    return LoadRun(load.on_s, at_s, load.first_a, load.taken_by(at_s), seen_end=False)


def _find_shares(state: FoundLoadsState, load: FoundLoad, mine: LoadDays, on_ah: float,
           duties: tuple[float, ...] | None) -> tuple[Taken, Taken, Taken]:
    """Today, yesterday and a usual day of a load."""
    value, sigma = share_ah(state.book, mine, load, duties)
    yesterday = mine.days[-1] if state.book.whole and mine.days else None
    return (value + on_ah, sigma + CURRENT_SIGMA * on_ah), yesterday, _mean(mine.days)


@lru_cache      # of some loads, each minute of a day again
def _mean(days: tuple[tuple[float, float], ...]) -> Taken:
    """The mean of some days, and how far that of many days may lie from it: by what each misses, and by how they differ."""
    if not days:
        return None
    count = len(days)
    mean = sum(ah for ah, _ in days) / count
    # what one day misses the others may miss too: it is not made smaller by their number
    missed = sum(sigma for _, sigma in days) / count
    differ = sum((ah - mean) ** 2 for ah, _ in days) / max(count - 1, 1) / count if count > 1 else (ONE_DAY * mean) ** 2
    return mean, (missed**2 + differ) ** 0.5


def _share(load: FoundLoad, name: str, is_on: bool, took: tuple[Taken, Taken, Taken]) -> LoadShare:
    spread = Z95 * load.current_a * max(load.spread_ln / max(load.runs, 1.0) ** 0.5, CURRENT_SIGMA / 2)
    current = Estimate(load.current_a, load.current_a - spread, load.current_a + spread, "learnt")
    return LoadShare(load.number, name, current, load.run_s, load.every_s, load.count, load.last_on_s, load.last_off_s, is_on,
                     _answer(took[0]), _answer(took[1]), _answer(took[2]))


def _answer(taken: Taken, why: str = NO_DAY.because) -> Answer:
    if taken is None:
        return NotYet(why)
    value, sigma = taken
    return Estimate(value, max(value - Z95 * sigma, 0.0), value + Z95 * sigma, "learnt")


def _rest(whole: Taken, named: list[Taken], why: str = NO_DAY.because) -> Answer:
    """What is left of the whole load when the named ones are taken off."""
    if whole is None:
        return NotYet(why)
    known = [one for one in named if one is not None]
    value = whole[0] - sum(ah for ah, _ in known)
    sigma = (whole[1] ** 2 + sum(s * s for _, s in known)) ** 0.5
    return Estimate(max(value, 0.0), max(value - Z95 * sigma, 0.0), max(value + Z95 * sigma, 0.0), "learnt")


def _value(answer: Answer) -> float:
    return answer.value if isinstance(answer, Estimate) else 0.0
