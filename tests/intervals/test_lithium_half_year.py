"""Lithium batteries over half a year, week-end trips and holidays between weeks at home, hardly ever emptied.

Half of them lose a quarter to a third of what they held; truth is the simulated vehicle's, on seeds that nothing was chosen by.
"""
from collections.abc import Iterator

import pytest

from monitor.estimation import house_charge
from monitor.findings import Estimate
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from tests.benchmarks.ensemble import half_years, journey, owner
from tests.intervals.tally import Tally

WEEK_S, DAY_S = 7 * 86400.0, 86400.0


def lived(case: str, seed: int) -> tuple[Tally, Tally]:
    """The tracker through one of them: charge every two hours from the second day on, capacity each week in shares of the rated one."""
    plan = next(iter(half_years(case, 1, seed)))
    vehicle, truth, charges, weeks = owner(plan), {}, Tally(), Tally()

    def samples() -> Iterator[Sample]:
        for sample, state in journey(plan, 120.0):
            truth[sample.at_s] = (state.house_soc_frac, state.house_capacity_ah)
            yield sample

    held, judged_s, week_s = house_charge.begin(vehicle), DAY_S, WEEK_S
    for minute in minutes(samples()):
        held = house_charge.update(held, minute, vehicle, None)
        if minute.end_s < judged_s:
            continue
        judged_s += 7200.0
        told, (charge, capacity_ah) = house_charge.findings(held, vehicle), truth[minute.end_s]
        assert isinstance(told.charge_frac, Estimate) and isinstance(told.capacity_ah, Estimate)
        charges.add(charge, told.charge_frac)
        if minute.end_s >= week_s:
            week_s += WEEK_S
            weeks.add(capacity_ah, told.capacity_ah, vehicle.house.rated_capacity_ah)
    return charges, weeks


@pytest.mark.long
@pytest.mark.parametrize(("case", "least_held"), [("lithium fades", 0.93), ("lithium sound", 0.93)])
def test_a_capacity_that_nothing_measured_is_held_for_half_a_year(case: str, least_held: float) -> None:
    """Before what was learnt beside charge was kept within what it may be, 10 to 23 of 26 weeks of these four were held, and on
    another seed the tracker's step ended with an error; charge was held 67 to 94 % of the time while a strong charger on a flat was
    read as the rise to full.
    """
    both = [lived(case, seed) for seed in (31, 32)]
    charges, weeks = (Tally([row for tally in tallies for row in tally.rows]) for tallies in zip(*both, strict=True))
    assert weeks.count >= 50 and weeks.coverage >= 0.95
    assert charges.coverage >= least_held
    for charge, capacity in both:
        assert 100.0 * charge.rms < 4.1
        assert 0.02 < charge.width < 0.09
        assert 0.1 < capacity.width < 0.75
