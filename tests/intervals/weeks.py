"""Camps of three weeks through daemon and log, asked what another battery or panel would have been, beside the same weeks lived again."""
from functools import cache

from monitor.planning.whatif import NotExplained
from tests.benchmarks import bench_whatif
from tests.benchmarks.ensemble import camps
from tests.intervals.tally import Tally

SEED, CAMPS, DAYS = 1707, 8, 21.0


@cache
def nights() -> tuple[Tally, int]:
    """Nights below the reserve in 30, for every question that is answered; and how many camps are answered."""
    seen, explained = Tally(), 0
    for plan in camps(CAMPS, SEED, nights=int(DAYS)):
        one = bench_whatif.told(plan, DAYS)
        try:
            answers = list(bench_whatif.answered(one, DAYS))
        except NotExplained:
            continue
        explained += 1
        for _, truth, answer in answers:
            seen.add(truth, answer.nights_below_per_30)
    return seen, explained
