"""The answers a person wants first, each in at most twelve words: what to do about tonight, is the starter battery safe."""
from collections.abc import Sequence

from monitor.alerts.rules import RANK
from monitor.findings import Answer, ChargeFindings, Condition, Estimate, ForecastFindings, JoinFindings, StarterFindings
from monitor.forecast.levers import NOTHING
from monitor.reporting.sentences import span, when

#: Ways out that are named beside the first.
MOST_ACTS = 3
#: Alerts of the vehicle that tell whether the starter battery is safe.
ITS_OWN = ("isolator_stuck_closed",)
#: Driving is reckoned up to here: what is left comes slowly, whatever charges. A drive that charges less is not one to wait for [A].
NEARLY_FULL, LEAST_DRIVE_A = 0.9, 2.0


def acts(forecast: ForecastFindings) -> tuple[str, ...]:
    """What to do about tonight, the smallest act first; empty where there is nothing to do or no forecast."""
    return tuple(text for text, _ in forecast.levers if text != NOTHING)[:MOST_ACTS]


def until_full(forecast: ForecastFindings, charge: ChargeFindings, drive_a: Answer, hour: float | None) -> str:
    """When the sun will have filled the house battery, and how long a drive would take; "" where neither is known.

    forecast, charge : what is known; drive_a : what a drive charges it with [A]; hour : local clock hour, None: not known
    """
    if not isinstance(charge.charge_frac, Estimate) or not isinstance(charge.capacity_ah, Estimate):
        return ""
    missing_frac = NEARLY_FULL - charge.charge_frac.value
    if missing_frac <= 0:
        return "The house battery is full, or nearly."
    sun = "" if forecast.full_in_s is None else f"Full {when(forecast.full_in_s, hour)}"
    drive = ""
    if isinstance(drive_a, Estimate) and drive_a.value > LEAST_DRIVE_A:
        drive = f"{span(3600 * missing_frac * charge.capacity_ah.value / drive_a.value)} driving to {100 * NEARLY_FULL:.0f} %"
    if sun and drive:
        return f"{sun}, or {drive}."
    return f"{sun} by sun." if sun else f"About {drive}." if drive else "Not full within three days by sun alone." if forecast.fan else ""


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
