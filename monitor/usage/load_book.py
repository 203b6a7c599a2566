"""The day's book of each load: ampere-hours of the runs that were seen, and of hours in which steps are hidden by what is usual then."""
from math import exp, hypot
from typing import Literal

from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.usage import fridge
from monitor.usage.history import SLOT_S
from monitor.usage.load_runs import LoadRun, shorten
from monitor.usage.loads import LoadsState
from monitor.usage.run_kinds import FoundLoad

P = table("usage", "load_book")
MEMORY_DAYS = P.number("fade_days")
KEPT_DAYS = P.count("kept_days")
CURRENT_SIGMA, UNSEEN_SIGMA, TOTAL_SIGMA = P.number("current_sigma_frac"), P.number("unseen_sigma_frac"), P.number("total_sigma_frac")
MISSED_AH, UNKNOWN_SIGMA, WHOLE_FRAC, LEAST_CHANCE = (
    P.number("missed_ah"), P.number("unknown_sigma_frac"), P.number("whole_frac"), P.number("least_chance"))
#: Parts of a day in which a load has a usual share of the time: three hours each.
BINS = fridge.BINS
DAY_S = 86400.0
LOST_END, DIM_PART = P.number("lost_end_frac"), P.number("dim_part")


@dataclass(frozen=True, slots=True)
class LoadDays:
    """What one load took: seen today [Ah] and its variance, on-time by part of the day, fading [s], and the days before
    as (Ah, sigma), the latest last."""

    number: int
    ah: float = 0.0
    var_ah2: float = 0.0
    on_s: tuple[float, ...] = (0.0,) * BINS
    days: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Book:
    """All loads' days. Times by part of the day in which steps could be seen, fading, and in which they could not today [s].

    load_ah is the whole load of today's half hours that are known, load_s their time; days of that likewise.
    """

    start_s: float = 0.0
    loads: tuple[LoadDays, ...] = ()
    seen_s: tuple[float, ...] = (0.0,) * BINS
    hidden_s: tuple[float, ...] = (0.0,) * BINS
    dim_s: float = 0.0      # today under a sun that is not measured: steps are seen, but not all
    slot: int = 0
    load_ah: float = 0.0
    load_s: float = 0.0
    days: tuple[tuple[float, float], ...] = ()
    whole: bool = False     # whether yesterday was measured well enough to be among the days

    def with_run(self, run: LoadRun, chances: tuple[tuple[int, float], ...]) -> "Book":
        """The book with a run shared out by its chances.

        run: what was seen; chances: (number of a load, chance that it is of it)
        """
        if not chances or run.taken_as <= 0:
            return self
        run_ah = run.taken_as / 3600
        lost = 0.0 if run.seen_end and run.seen_start else (LOST_END * run_ah) ** 2
        loads = {load.number: load for load in self.loads}
        for number, chance in chances:
            if chance < LEAST_CHANCE:
                continue
            load = loads.get(number, LoadDays(number))
            loads[number] = replace(
                load, ah=shorten(load.ah + chance * run_ah), on_s=_spread(load.on_s, self.start_s, run, chance),
                var_ah2=shorten(load.var_ah2 + chance * (1 - chance) * run_ah**2 + chance * lost))
        return replace(self, loads=tuple(loads.values()))


def bin_of(start_s: float, at_s: float) -> int:
    """Part of the day at a moment.

    >>> bin_of(0.0, 10801.0)
    1
    """
    return int((at_s - start_s) / (DAY_S / BINS)) % BINS


def _spread(on_s: tuple[float, ...], start_s: float, run: LoadRun, chance: float) -> tuple[float, ...]:
    """On-time with a run's, in the parts of the day that it lay in."""
    parts, at_s = list(on_s), max(run.on_s, start_s)
    while at_s < run.off_s:
        until_s = min(run.off_s, start_s + (int((at_s - start_s) / (DAY_S / BINS)) + 1) * DAY_S / BINS)
        parts[bin_of(start_s, at_s)] += chance * (until_s - at_s)
        at_s = until_s
    return tuple(round(part, 1) for part in parts)


def note_time(book: Book, at_s: float, span_s: float, seen: Literal["hidden", "dim", "clear"], loaded: LoadsState) -> Book:
    """The book after a minute: time in which steps could be seen or not, and the whole load of a half hour that has ended.

    book: so far; at_s: the log's time [s]; span_s: of the minute [s]; seen: whether steps could be seen in it, dim: not all; loaded: the
    split into loads and sun.
    """
    part = bin_of(book.start_s, at_s)
    times = book.hidden_s if seen == "hidden" else book.seen_s
    times = (*times[:part], round(times[part] + span_s, 1), *times[part + 1:])
    book = replace(book, hidden_s=times) if seen == "hidden" else replace(
        book, seen_s=times, dim_s=book.dim_s + span_s if seen == "dim" else book.dim_s)
    number = loaded.slot.number if loaded.slot else 0
    if number == book.slot:
        return book
    last_a = loaded.past.load_a[-1] if loaded.past.load_a and book.slot else None
    if last_a is not None and at_s - book.start_s > SLOT_S / 2:
        book = replace(book, load_ah=shorten(book.load_ah + last_a * SLOT_S / 3600), load_s=book.load_s + SLOT_S)
    return replace(book, slot=number)


def share_ah(book: Book, load: LoadDays, kind: FoundLoad, duties: tuple[float, ...] | None = None) -> tuple[float, float]:
    """(Ah, sigma) of a load today: its runs, and for hidden hours what is usual at that time of the day.

    book: of all loads; load: this one's days; kind: what is known of its runs; duties: share of the time in each part of the day, where
    that is known from the warmth, None: it goes by what was seen.
    """
    usual = sum(load.on_s) / max(sum(book.seen_s), 1.0)
    unseen_ah = 0.0
    for part in range(BINS):
        if book.hidden_s[part]:
            # a part of the day that was never seen goes by the mean of the others
            duty = (load.on_s[part] + 3600.0 * (usual if duties is None else duties[part])) / (book.seen_s[part] + 3600.0)
            unseen_ah += min(duty, 1.0) * book.hidden_s[part] / 3600 * kind.current_a
    value = load.ah + unseen_ah
    dim_ah = DIM_PART * usual * book.dim_s / 3600 * kind.current_a
    by_chance = ((unseen_ah + dim_ah) * kind.run_s / 3600 * kind.current_a) ** 0.5   # of a number of runs that is Poisson's
    missed_ah = MISSED_AH if value > 0 else 0.0
    return value, hypot(CURRENT_SIGMA * value, load.var_ah2**0.5, UNSEEN_SIGMA * unseen_ah, by_chance, missed_ah)


def total_ah(book: Book, span_s: float) -> tuple[float, float] | None:
    """(Ah, sigma) of the whole load in so much of today [s], None where most of it is not known.

    book: of all loads; span_s: since the day began [s].
    """
    if book.load_s < 0.5 * span_s or book.load_s < 3600:
        return None
    value = book.load_ah * span_s / book.load_s
    unknown = max(1 - book.load_s / span_s, 0.0)
    return value, hypot(TOTAL_SIGMA * value, UNKNOWN_SIGMA * unknown * value)


def close_day(book: Book, found: tuple[FoundLoad, ...], fridge: tuple[int, tuple[float, ...]] | None, start_s: float) -> Book:
    """The book of a new day, the one that ends among the days before; a day of which less than half was lived is left out.

    book: so far; found: the loads; fridge: which of them it is, and its share of the time in each part of the day, None: not known;
    start_s: of the new day [s].
    """
    span_s, keep = start_s - book.start_s, exp(-1.0 / MEMORY_DAYS)
    whole = sum(book.seen_s) + sum(book.hidden_s) > WHOLE_FRAC * DAY_S and WHOLE_FRAC < span_s / DAY_S < 1 / WHOLE_FRAC
    loads, kinds = [], {kind.number: kind for kind in found}
    for load in book.loads:
        if load.number not in kinds:
            continue
        duties = fridge[1] if fridge and fridge[0] == load.number else None
        value, sigma = share_ah(book, load, kinds[load.number], duties)
        days = (*load.days, (shorten(value), shorten(sigma)))[-KEPT_DAYS:] if whole else load.days
        loads.append(replace(load, ah=0.0, var_ah2=0.0, on_s=tuple(round(part * keep, 1) for part in load.on_s), days=days))
    total = total_ah(book, span_s) if whole else None
    return replace(book, start_s=start_s, loads=tuple(loads), seen_s=tuple(round(part * keep, 1) for part in book.seen_s),
                   hidden_s=(0.0,) * BINS, dim_s=0.0, load_ah=0.0, load_s=0.0,
                   days=(*book.days, (shorten(total[0]), shorten(total[1])))[-KEPT_DAYS:] if total else book.days,
                   whole=whole)
