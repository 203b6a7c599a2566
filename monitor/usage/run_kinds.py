"""Kinds of runs: which load a run is of, by its current and its length; loads not known yet; those that their owner has named."""
from math import erfc, exp, hypot, log, pi, sqrt

from monitor.battery.label import NamedLoad
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.usage.load_runs import LoadRun, OnLoad, shorten

P = table("usage", "run_kinds")
SPREAD, FIRST_SPREAD, RUN_SPREAD = P.number("spread_ln"), P.number("first_spread_ln"), P.number("run_spread_ln")
REACH, AGAIN, STEP_SIGMA_A = P.number("reach"), P.number("again_ln"), P.number("step_sigma_a")
DAY_S, HOUR_S = 86400.0, 3600.0
MEMORY_S, MOST = DAY_S * P.number("memory_days"), P.count("most")
STRAY_PER_H, STRAY_SUN_PER_H = P.number("stray_per_h"), P.number("stray_sun_per_h")
STRAY_LN, STRAY_RUN_LN, STRAY_A, STRAY_RUN_S = (
    P.number("stray_ln"), P.number("stray_run_ln"), P.number("stray_a"), P.number("stray_run_s"))
LEAST_GAIN, EVERY_GAIN, NEW_CHANCE, OFTEN = P.number("least_gain"), P.number("every_gain"), P.number("new_chance"), P.number("often")
SHORTEST_S, KNOWN_RUNS, STEADY_RUNS = P.number("shortest_s"), P.number("known_runs"), P.number("steady_runs")
LENGTH_WEIGHT, SAME_NUMBER, YOUNG_S = P.number("length_weight"), P.number("same_number"), DAY_S * P.number("young_days")
ODD, TOO_LONG_S = P.number("odd"), P.number("too_long_s")
UNKNOWN_COST, MOST_COST, STEADY_COST = P.number("unknown_cost"), P.number("most_cost"), P.number("steady_cost")


@dataclass(frozen=True, slots=True)
class FoundLoad:
    """A load by its runs: its number, current [A], length of a run [s], and their spreads (sigma of the logarithm).

    runs fades with time, as of at_s; count does not. every_s is the mean time from start to start, 0 while not known.
    """

    number: int
    current_a: float
    run_s: float
    at_s: float
    runs: float = 1.0
    count: int = 1
    spread_ln: float = FIRST_SPREAD
    run_spread_ln: float = 1.0
    every_s: float = 0.0
    last_on_s: float = 0.0
    last_off_s: float = 0.0


def usual_a(found: tuple[FoundLoad, ...]) -> float | None:
    """Current of the load that comes and goes most often [A], None while none does often."""
    current_a, most = None, OFTEN
    for load in found:
        if load.runs > most:
            current_a, most = load.current_a, load.runs
    return current_a


def chances(found: tuple[FoundLoad, ...], run: LoadRun, dark: bool) -> tuple[tuple[int, float], ...]:
    """(number of a load, chance that a run is of it), those that can be; the rest to 1 is no known load.

    found: the loads known; run: what is asked about; dark: no cloud can have made it.
    """
    ln_a, ln_s = log(max(run.current_a, STEP_SIGMA_A)), log(max(run.off_s - run.on_s, SHORTEST_S))
    whole = run.seen_end and run.seen_start
    stray = (STRAY_PER_H if dark else STRAY_SUN_PER_H) * _normal((ln_a - log(STRAY_A)) / STRAY_LN) / STRAY_LN
    late = (ln_s - log(STRAY_RUN_S)) / STRAY_RUN_LN
    stray *= _normal(late) / STRAY_RUN_LN if whole else _longer(late)
    likely: list[tuple[int, float]] = []
    for load in found:
        spread = hypot(max(load.spread_ln, SPREAD), STEP_SIGMA_A / load.current_a)
        off = (ln_a - log(load.current_a)) / spread
        if abs(off) > REACH:
            continue
        # seen for a day at least: a first run says little of how often it comes
        rate = max(load.runs, 0.5) / (MEMORY_S / HOUR_S / 2)
        weight = rate * _normal(off) / spread
        apart = max(load.run_spread_ln, RUN_SPREAD)
        late = (ln_s - log(load.run_s)) / apart
        weight *= max(_normal(late) / apart if whole else _longer(late), ODD)
        likely.append((load.number, weight))
    total = stray + sum(weight for _, weight in likely)
    return tuple((number, weight / total) for number, weight in likely)


def _normal(z: float) -> float:
    return exp(-z * z / 2) / sqrt(2 * pi)


def _longer(z: float) -> float:
    """Chance that a normal lies above so many sigmas."""
    return erfc(z / sqrt(2)) / 2


class LengthCosts:
    """What a run of some current and length costs, by the loads that are known: -ln of its odds, 0 for an ordinary one."""

    def __init__(self, found: tuple[FoundLoad, ...]) -> None:
        self._found = [(log(load.current_a), hypot(max(load.spread_ln, SPREAD), STEP_SIGMA_A / load.current_a), log(load.run_s),
                        max(load.run_spread_ln, RUN_SPREAD), load.count) for load in found if load.runs > KNOWN_RUNS]

    def __call__(self, current_a: float, run_s: float) -> float:
        """current_a: when it was switched on [A]; run_s: how long it was on [s]."""
        ln_a, ln_s = log(current_a), log(max(run_s, SHORTEST_S))
        costs = [((ln_s - usual_s) / apart) ** 2 / 2 for usual_a, spread, usual_s, apart, _ in self._found
                 if abs(ln_a - usual_a) < REACH * spread]
        return min(min(costs, default=UNKNOWN_COST), MOST_COST)

    def of_part(self, current_a: float) -> float:
        """What it costs besides to say that a load takes less and stays on; current_a: when it was switched on [A]."""
        ln_a = log(current_a)
        known = any(count > STEADY_RUNS and abs(ln_a - usual_a) < REACH * spread for usual_a, spread, _, _, count in self._found)
        return STEADY_COST if known else 0.0


def with_start(found: tuple[FoundLoad, ...], run: LoadRun, chance: tuple[tuple[int, float], ...]) -> LoadRun:
    """A run whose start was hidden or missed: on since steps can be seen again, but no longer than usual.

    found: the loads known; run: with on_s the moment since which steps can be seen; chance: of each load.
    """
    number, likely = max(chance, key=lambda one: one[1], default=(0, 0.0))
    if likely < 0.5:
        return run
    load = next(one for one in found if one.number == number)
    since_s = min(max(run.on_s, load.last_off_s, run.off_s - load.run_s), run.off_s)
    return replace(run, on_s=since_s, taken_as=run.current_a * (run.off_s - since_s))


def too_long(found: tuple[FoundLoad, ...], on: tuple[OnLoad, ...], at_s: float) -> tuple[OnLoad, ...]:
    """What has been on for longer than any known load of its current ever is.

    found: the loads known; on: what is on; at_s: the log's time [s].
    """
    over = []
    for load in on:
        fits = [log((at_s - load.on_s) / one.run_s) / max(one.run_spread_ln, RUN_SPREAD) for one in found
                if at_s > load.on_s and abs(log(load.left_a / one.current_a)) < REACH * max(one.spread_ln, SPREAD)]
        if fits and min(fits) > REACH - 0.5 or not fits and at_s - load.on_s > TOO_LONG_S:
            over.append(load)
    return tuple(over)


def learn(found: tuple[FoundLoad, ...], run: LoadRun, chance: tuple[tuple[int, float], ...], number: int,
          dark: bool) -> tuple[tuple[FoundLoad, ...], int]:
    """The loads after a whole run, and the next free number; a run of none of them is a new one, if it was dark.

    found: the loads known; run: seen from its start to its end; chance: of each load; number: the next free one; dark: no cloud
    can have made it.
    """
    best = max(chance, key=lambda one: one[1], default=(0, 0.0))
    if best[1] >= 0.5:
        return tuple(_with_run(load, run) if load.number == best[0] else load for load in found), number
    if not dark or best[1] > NEW_CHANCE:
        return found, number
    new = FoundLoad(number, shorten(run.current_a), shorten(run.off_s - run.on_s), run.off_s, last_on_s=run.on_s, last_off_s=run.off_s)
    return (*found, new), number + 1


def _with_run(load: FoundLoad, run: LoadRun) -> FoundLoad:
    runs = load.runs * exp((load.at_s - run.off_s) / MEMORY_S)
    gain = max(1 / (runs + 1), LEAST_GAIN)
    off, lasted_s = log(run.current_a / load.current_a), run.off_s - run.on_s
    off_run = log(lasted_s / load.run_s)
    since_s = run.on_s - load.last_on_s
    every_s = load.every_s
    if load.count > 1 and 0 < since_s < 86400:
        every_s = since_s if not every_s else every_s + EVERY_GAIN * (min(since_s, 2 * every_s) - every_s)
    return replace(
        load, current_a=shorten(load.current_a * exp(gain * off)), run_s=shorten(load.run_s * exp(gain * off_run)), at_s=run.off_s,
        runs=shorten(runs + 1), count=load.count + 1, every_s=shorten(every_s), last_on_s=run.on_s, last_off_s=run.off_s,
        spread_ln=shorten(sqrt(max(load.spread_ln**2 + gain * (off * off - load.spread_ln**2), (SPREAD / 2) ** 2))),
        run_spread_ln=shorten(sqrt(load.run_spread_ln**2 + gain * (off_run * off_run - load.run_spread_ln**2))))


def note_seen(found: tuple[FoundLoad, ...], run: LoadRun, chance: tuple[tuple[int, float], ...]) -> tuple[FoundLoad, ...]:
    """The loads after a run of which one end was hidden: it tells when the load was last on, and no more.

    found: the loads known; run: with an end or a start that was not seen; chance: of each load.
    """
    best = max(chance, key=lambda one: one[1], default=(0, 0.0))
    if best[1] < 0.5:
        return found
    return tuple(replace(load, last_on_s=run.on_s, last_off_s=run.off_s) if load.number == best[0] else load for load in found)


def tidy(found: tuple[FoundLoad, ...], at_s: float, named: frozenset[int] = frozenset()) -> tuple[FoundLoad, ...]:
    """The loads that are kept for another day: the named ones, and of the others those that came most.

    found: the loads known; at_s: the log's time [s]; named: numbers of those with a name.
    """
    def weight(load: FoundLoad) -> float:
        return load.runs * exp((load.at_s - at_s) / MEMORY_S) * (1 + load.run_s * load.current_a / 3600.0)

    kept = sorted((load for load in found if load.number not in named), key=weight, reverse=True)[:MOST]
    kept = [load for load in kept if load.count > 1 or at_s - load.at_s < YOUNG_S]
    return tuple(load for load in found if load.number in named or load in kept)


def find_named(found: tuple[FoundLoad, ...], named: tuple[NamedLoad, ...]) -> dict[int, str]:
    """Number of a load -> the name it bears. A name goes with the number it was given to while that still fits, else with the
    load that is most like the one it was given to.

    found: the loads known; named: what their owner called them.
    """
    return {number: named[k].name for number, k in _match(found, named).items()}


def bearers(found: tuple[FoundLoad, ...], named: tuple[NamedLoad, ...]) -> list[int]:
    """For each of the named the number of the load that bears its name, 0 for none.

    found: the loads known; named: what their owner called them.
    """
    matched = {k: number for number, k in _match(found, named).items()}
    return [matched.get(k, 0) for k in range(len(named))]


def _match(found: tuple[FoundLoad, ...], named: tuple[NamedLoad, ...]) -> dict[int, int]:
    """Number of a load -> place of its name among the named."""
    pairs = sorted((unlike, load.number, k) for k, one in enumerate(named) for load in found if (unlike := _unlike(load, one)) <= 1)
    matched: dict[int, int] = {}
    for _, number, k in pairs:
        if number not in matched and k not in matched.values():
            matched[number] = k
    return matched


def _unlike(load: FoundLoad, named: NamedLoad) -> float:
    """How far a load is from one that was named; 1: just as far as it may be."""
    current = abs(log(load.current_a / named.current_a)) / AGAIN
    apart = hypot(current, LENGTH_WEIGHT * log(load.run_s / named.run_s))
    return apart / SAME_NUMBER if load.number == named.number else apart


def with_named(found: tuple[FoundLoad, ...], named: tuple[NamedLoad, ...], number: int) -> tuple[tuple[FoundLoad, ...], int]:
    """The loads with one for each name that none of them bears: known by what its owner named, until it is seen again.

    found: the loads known; named: what their owner called them; number: the next free one.
    """
    if not named:
        return found, number
    borne = _match(found, named).values()
    for k, one in enumerate(named):
        if k not in borne:
            free = one.number if all(load.number != one.number for load in found) else number
            found = (*found, FoundLoad(free, one.current_a, one.run_s, 0.0, STEADY_RUNS, 0))
            number = max(number, free + 1)
    return found, number
