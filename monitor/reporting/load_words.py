"""Loads in words: what each named one took, and how one without a name is recognised. For pages and the terminal."""
from collections.abc import Callable
from dataclasses import dataclass

from monitor.findings import Answer, Estimate
from monitor.reporting.sentences import Figure, figure, number, span
from monitor.usage.load_shares import LoadShare, LoadSharesFindings

#: What has no name, in one line.
UNNAMED = "Without a name"
WHOLE = "All loads"


@dataclass(frozen=True, slots=True)
class LoadRow:
    """A line of the table: today, yesterday, a usual day [Ah]. is_on: it runs now; whole: the sum of all."""

    name: str
    today: Figure
    yesterday: Figure
    usual: Figure
    is_on: bool = False
    whole: bool = False


@dataclass(frozen=True, slots=True)
class FoundRow:
    """A load that was found, as its owner would recognise it."""

    number: int
    name: str
    current: str
    runs: str
    last: str
    usual: Figure


def table(found: LoadSharesFindings) -> list[LoadRow]:
    """The named loads, what has no name, and all together; no row while nothing has a name.

    Several loads of one name (a heater's two speeds) make one row.
    """
    rows: dict[str, list[LoadShare]] = {}
    for load in found.loads:
        if load.name:
            rows.setdefault(load.name, []).append(load)
    if not rows:
        return []
    made = []
    for name, loads in rows.items():
        today, yesterday, usual = (_ah(_sum([getattr(load, field) for load in loads]))
                                   for field in ("today_ah", "yesterday_ah", "usual_ah_per_day"))
        made.append(LoadRow(name, today, yesterday, usual, is_on=any(load.is_on for load in loads)))
    made.append(LoadRow(UNNAMED, _ah(found.unnamed_today_ah), _ah(found.unnamed_yesterday_ah), _ah(found.unnamed_usual_ah_per_day)))
    made.append(LoadRow(WHOLE, _ah(found.today_ah), _ah(found.yesterday_ah), _ah(found.usual_ah_per_day), whole=True))
    return made


def headline(found: LoadSharesFindings, spent_ah: float | None) -> str:
    """What took the charge today, in at most twelve words; "" where it is not known.

    found: what the loads took; spent_ah: what left the battery today [Ah], None: not known
    """
    if found.because or spent_ah is None:
        return ""
    rows = [row for row in table(found) if row.today.known and not row.whole]
    if rows and isinstance(found.today_ah, Estimate):
        most = max(rows, key=lambda row: float(row.today.value))
        name = "loads without a name" if most.name == UNNAMED else most.name
        return f"Today most went to {name}: {most.today.value} of {figure(found.today_ah, 'Ah', 0).value} Ah."
    return f"{number(spent_ah, 1)} Ah drawn from the house battery today."


def _sum(answers: list[Answer]) -> Answer:
    """The sum of what several took: their misses are taken as independent."""
    if len(answers) == 1:
        return answers[0]
    known = [one for one in answers if isinstance(one, Estimate)]
    if not known:
        return answers[0]
    value = sum(one.value for one in known)
    below, above = (sum((getattr(one, end) - one.value) ** 2 for one in known) ** 0.5 for end in ("low", "high"))
    return Estimate(value, max(value - below, 0.0), value + above, "learnt")


def _ah(answer: Answer) -> Figure:
    digits = 1 if isinstance(answer, Estimate) and answer.high < 9.95 else 0
    return figure(answer, "Ah", digits, least=0)


def recognise(load: LoadShare, when: Callable[[float], str]) -> FoundRow:
    """A load that was found, in the words that its owner would know it by.

    load: what is known of it; when: turns the log's time into words
    """
    runs = f"runs about {span(load.run_s)}"
    if load.every_s and load.count > 4:
        runs += f", every {span(load.every_s)}"
    times = "seen once" if load.count == 1 else f"seen {load.count} times" if load.count else "not seen yet"
    last = "on now" if load.is_on else f"last {when(load.last_on_s)}" if load.last_on_s else ""
    current = f"{number(load.current_a.value, 1)} A" if isinstance(load.current_a, Estimate) else ""
    return FoundRow(load.number, load.name, current, f"{runs}; {times}", last, _ah(load.usual_ah_per_day))
