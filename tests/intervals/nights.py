"""Camps lived through by the forecast: the lowest charge until the sun carries the load, and when the reserve is reached."""
from functools import cache

import numpy as np

from monitor.findings import Estimate
from monitor.usage import who_took
from tests.benchmarks.bench_tonight import SPAN, STEP_S, Lived, live, night
from tests.benchmarks.camps import camp
from tests.intervals.tally import Tally

SEED = 17030
CAMPS, DAYS, FIRST_DAY = 6, 14, 3


@cache
def _lived(span: int = SPAN) -> tuple[Lived, ...]:
    return tuple(live(i, camp(SEED + i, DAYS), seed=SEED + i, span=span) for i in range(CAMPS))


@cache
def loads(span: int = 1) -> dict[str, Tally]:
    """What loads and sun are said to be at each midnight, beside the days that it was learnt from; in shares of the truth.

    span: minutes between two readings
    """
    seen = {name: Tally() for name in ("load a day", "sun a day", "fridge a day", "fridge current", "fridge duty", "always on", "evening")}
    for lived in _lived(span):
        for at_s, found in lived.days[FIRST_DAY:]:
            truth, shares = lived.truth, found.shares
            past = (truth.t_s >= at_s - who_took.DAYS * 86400.0) & (truth.t_s < at_s)
            load_a, sun_a, fridge_a = (column[past] for column in (truth.load_a, truth.sun_a, truth.fridge_a))
            size_a = float(fridge_a[fridge_a > 0].mean())
            solar_h = (truth.t_s[past] / 3600.0 - truth.clock_noon_hour + 12.0) % 24.0
            other_a = load_a - fridge_a
            base_a = float(np.median(other_a[solar_h < 5.0]))
            evening = ((solar_h >= 16.5) | (solar_h < 1.0)) & (sun_a == 0)     # by day a load is not told from less sun
            evening_ah = 24 * float(((other_a - base_a) * evening).mean())
            for name, real, said in (
                ("load a day", 24 * load_a.mean(), shares.load_ah_per_day), ("sun a day", 24 * sun_a.mean(), shares.harvest_ah_per_day),
                ("fridge a day", 24 * fridge_a.mean(), shares.fridge_ah_per_day), ("fridge current", size_a, shares.fridge_a),
                ("fridge duty", float((fridge_a > 0).mean()), shares.fridge_duty_frac),
                ("always on", base_a, shares.base_a), ("evening", evening_ah, shares.evening_ah_per_day),
            ):
                seen[name].add(float(real), said, float(real))
    return seen


@cache
def forecasts() -> tuple[Tally, Tally]:
    """Lowest charge (10 to 90 %) as said at 18, 20 and 22 h of every evening, and hours to the reserve where it came within a day."""
    lowest, reserve_h = Tally(), Tally()
    for lived in _lived():
        truth = lived.truth
        under = np.nonzero(truth.charge_frac < truth.reserve_frac)[0] * float(STEP_S)
        for issue in lived.issues:
            if issue.at_s < FIRST_DAY * 86400.0 or issue.charge_frac < truth.reserve_frac + 0.02:
                continue
            hour = issue.at_s / 3600.0 % 24.0
            if hour in (18.0, 20.0, 22.0) and issue.lowest[1] is not None and issue.at_s < (DAYS - 1) * 86400.0:
                low, middle, high = issue.lowest
                lowest.add(night(truth, issue.at_s).lowest, Estimate(middle, low, high, "learnt"))
            later = under[under > issue.at_s]
            if issue.reserve_in_s is not None and len(later) and 3600.0 < later[0] - issue.at_s < 86400.0 and hour % 3.0 == 0.0:
                reserve_h.add((later[0] - issue.at_s) / 3600.0, Estimate(
                    issue.reserve_in_s / 3600.0, issue.low_s / 3600.0, issue.high_s / 3600.0, "learnt"))
    return lowest, reserve_h
