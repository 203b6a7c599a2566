"""Ampere-hours and watt-hours in and out, by day and by source."""
from monitor.findings import Event, JoinFindings
from monitor.parameters import table
from monitor.replacing import dataclass, replace
from monitor.sample import Minute

DAY_S = 86400.0

P = table("usage", "counts")
DAYLIGHT = P.numbers("daylight")
BACK_H, LEAST_S, LONGEST_S = P.number("back_h"), P.number("least_s"), P.number("longest_s")


@dataclass(frozen=True, slots=True)
class Tally:
    """One day's book: charge received by source and spent, all positive [Ah, Wh]."""

    start_s: float
    sun_ah: float = 0.0
    alternator_ah: float = 0.0
    other_ah: float = 0.0
    spent_ah: float = 0.0
    received_wh: float = 0.0
    spent_wh: float = 0.0
    gap_s: float = 0.0
    seen_s: float = 0.0

    @property
    def received_ah(self) -> float:
        """Ampere-hours received from all sources."""
        return self.sun_ah + self.alternator_ah + self.other_ah


@dataclass(frozen=True, slots=True)
class CountsFindings:
    """Today's book, yesterday's, and all that was ever counted."""

    today: Tally
    yesterday: Tally | None
    total: Tally
    because: str = ""       # why none of it is to be believed now; "": it is


@dataclass(frozen=True, slots=True)
class CountsState:
    """The books, and what is needed to notice a new day."""

    today: Tally
    total: Tally
    yesterday: Tally | None = None
    last_hour: float | None = None
    started: bool = False
    news: tuple[Event, ...] = ()


def begin() -> CountsState:
    """Empty books."""
    return CountsState(Tally(0.0), Tally(0.0))


def update(state: CountsState, minute: Minute, join: JoinFindings) -> CountsState:
    """One minute further. A day ends at local midnight where the clock is known, else after 24 h of the log.

    state: what was kept after the minute before; join: what is known of engine and isolator; minute: what was measured.
    """
    today, yesterday, total = state.today, state.yesterday, state.total
    if not state.started:
        today, total = replace(today, start_s=minute.start_s), replace(total, start_s=minute.start_s)
    elif _new_day(state, minute):
        today, yesterday = Tally(minute.start_s), today
    sources = _by_source(minute, join)
    return CountsState(_book_minute(today, minute, *sources), _book_minute(total, minute, *sources), yesterday, minute.hour, True)


def _new_day(state: CountsState, minute: Minute) -> bool:
    age_s = minute.end_s - state.today.start_s
    if minute.hour is None or state.last_hour is None:
        return age_s > DAY_S
    return minute.hour < state.last_hour - BACK_H and age_s > LEAST_S or age_s > LONGEST_S


def _by_source(minute: Minute, join: JoinFindings) -> tuple[float, float, float]:
    """What a minute's charge came from: sun, alternator, other [Ah]."""
    received = minute.charge_in_ah
    if not received:
        return 0.0, 0.0, 0.0
    if minute.solar_current_a is not None and join.engine != "running":
        share = max(min(minute.solar_current_a * minute.covered_s / 3600, received), 0.0)
        return share, 0.0, received - share
    if join.engine in ("running", "cranking"):
        return 0.0, received, 0.0
    if minute.hour is None or DAYLIGHT[0] <= minute.hour < DAYLIGHT[1]:
        return received, 0.0, 0.0
    return 0.0, 0.0, received


def _book_minute(tally: Tally, minute: Minute, sun_ah: float, alternator_ah: float, other_ah: float) -> Tally:
    return Tally(tally.start_s, tally.sun_ah + sun_ah, tally.alternator_ah + alternator_ah, tally.other_ah + other_ah,
                 tally.spent_ah + minute.charge_out_ah,
                 tally.received_wh + minute.energy_in_wh, tally.spent_wh + minute.energy_out_wh,
                 tally.gap_s + minute.gap_s, tally.seen_s + minute.covered_s)


def findings(state: CountsState) -> CountsFindings:
    """The books as they stand."""
    return CountsFindings(state.today, state.yesterday, state.total)
