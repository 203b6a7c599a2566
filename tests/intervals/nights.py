"""Camps lived through by the forecast: the lowest charge until the sun carries the load, and when the reserve is reached."""
from functools import cache

import numpy as np

from monitor.findings import Estimate
from tests.benchmarks.bench_tonight import STEP_S, live, night
from tests.benchmarks.camps import camp
from tests.intervals.tally import Tally

SEED = 17030
CAMPS, DAYS, FIRST_DAY = 6, 14, 3


@cache
def forecasts() -> tuple[Tally, Tally]:
    """Lowest charge (10 to 90 %) as said at 18, 20 and 22 h of every evening, and hours to the reserve where it came within a day."""
    lowest, reserve_h = Tally(), Tally()
    for i in range(CAMPS):
        truth = camp(SEED + i, DAYS)
        lived = live(i, truth, seed=SEED + i)
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
