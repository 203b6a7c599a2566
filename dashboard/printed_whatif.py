"""The report's table of other set-ups: asked for by name, or a few that anyone would ask for."""
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace

from dashboard.log_view import LogView
from monitor.findings import Estimate
from monitor.planning import candidates, from_log, whatif
from monitor.planning.model import Setup
from monitor.reporting.life_words import tell_years
from monitor.reporting.sentences import number

#: The latest so many days are lived again; fewer than the least say nothing.
DAYS, LEAST_DAYS = 60, 7


@dataclass(frozen=True, slots=True)
class WeighedCandidate:
    """Rows ready to print with the weight of their evidence, or why there are none."""

    rows: tuple[tuple[str, ...], ...] = ()
    weight: str = ""
    because: str = ""


def weigh_candidates(book: LogView, asked: Sequence[str] = ()) -> WeighedCandidate:
    """Today's set-up and the others over the same weeks.

    Raises
    ------
    ValueError : a candidate that cannot be read
    """
    for text in asked:
        candidates.parse_candidate(text)
    charge, vehicle = book.known.findings.charge, book.known.vehicle
    capacity, end = charge.capacity_ah, book.extent()[1]
    if not isinstance(capacity, Estimate):
        return WeighedCandidate(because=capacity.because)
    if end - book.extent()[0] < LEAST_DAYS * 86400:
        return WeighedCandidate(because=f"it takes {LEAST_DAYS} days of log")
    life, known = from_log.describe_present(book.quarters(end - DAYS * 86400.0), vehicle, charge, capacity,
                                            time.localtime(end).tm_gmtoff / 3600)
    setups = [candidates.setup(known.setup, text) for text in asked] or _usual(known.setup, vehicle.house.rated_capacity_ah)
    try:
        slots, rms = whatif.explain(life, known)
    except whatif.NotExplained as error:
        return WeighedCandidate(because=str(error))
    answers = whatif.ask(slots, known, setups, rms)
    return WeighedCandidate(tuple(_row(a) for a in answers), answers[0].weight)


def _usual(base: Setup, rated_capacity_ah: float) -> list[Setup]:
    """A new one like the label, one half as large again, and half as much panel again."""
    named = {f"a new one, {number(rated_capacity_ah)} Ah": f"capacity={rated_capacity_ah:g}",
             f"a larger one, {number(1.5 * rated_capacity_ah)} Ah": f"capacity={1.5 * rated_capacity_ah:g}",
             "half as much panel again": "sun=1.5"}
    if base.lead_acid:
        named[f"lithium iron phosphate, {number(rated_capacity_ah)} Ah"] = f"chemistry=lfp,capacity={rated_capacity_ah:g}"
    return [replace(candidates.setup(base, text), name=name) for name, text in named.items()]


def _row(answer: whatif.CandidateResult) -> tuple[str, ...]:
    return (answer.setup.name, _figure(answer.nights_below_per_30), _figure(answer.nights_difference_per_30, signed=True),
            _figure(answer.unserved_ah_per_30), _figure(answer.lowest_frac, 100, " %"), _figure(answer.cycles_per_year),
            tell_years(answer.years))


def _figure(found: Estimate, scale: float = 1.0, unit: str = "", signed: bool = False) -> str:
    value, low, high = (round(scale * x) for x in (found.value, found.low, found.high))
    sign = "+" if signed and value > 0 else ""
    span = f"{number(low)} to {number(high)}" if low < 0 else f"{number(low)}–{number(high)}"
    return f"{sign}{number(value)}{unit} ({span})"
