"""The answers a person wants first, each in at most twelve words: what to do about tonight, is the starter battery safe."""
from collections.abc import Sequence

from monitor.alerts.rules import RANK
from monitor.findings import Condition, Estimate, ForecastFindings, JoinFindings, StarterFindings
from monitor.forecast.levers import NOTHING
from monitor.reporting.sentences import span

#: Ways out that are named beside the first.
MOST_ACTS = 3
#: Alerts of the vehicle that tell whether the starter battery is safe.
ITS_OWN = ("isolator_stuck_closed",)


def acts(forecast: ForecastFindings) -> tuple[str, ...]:
    """What to do about tonight, the smallest act first; empty where there is nothing to do or no forecast."""
    return tuple(text for text, _ in forecast.levers if text != NOTHING)[:MOST_ACTS]


def starter_headline(starter: StarterFindings, join: JoinFindings, conditions: Sequence[Condition]) -> str:
    """Whether the starter battery is safe; what is wrong with it comes first.

    starter, join : what is known of the starter battery and the way to it; conditions : what may be wrong now
    """
    wrong = [c for c in conditions if c.active and c.seen and (c.battery == "starter" or c.kind in ITS_OWN)]
    if wrong:
        return max(wrong, key=lambda c: RANK[c.priority]).seen
    if join.isolator == "closed":
        return ("Starter battery charging with the engine running." if join.engine == "running" else
                "Starter battery connected to the house battery.")
    if not isinstance(starter.charge_frac, Estimate):
        return "Starter battery not judged yet."
    if starter.doubtful_after_s is None:
        return "Starter battery safe: no drain found."
    return f"Starter battery safe: starts for about {span(starter.doubtful_after_s)} parked like this."
