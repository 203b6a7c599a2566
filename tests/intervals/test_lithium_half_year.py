"""Lithium batteries over half a year, week-end trips and holidays between weeks at home, hardly ever emptied.

Half of them lose a quarter to a third of what they held; truth is the simulated vehicle's, on seeds that nothing was chosen by.
"""
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest

from monitor.estimation import house_charge
from monitor.findings import Estimate
from monitor.sample import Sample
from monitor.sampling.gather import minutes
from tests.benchmarks.ensemble import half_years, journey, owner

WEEK_S, DAY_S = 7 * 86400.0, 86400.0


@dataclass
class HalfYear:
    """How far charge was off [1], whether and how widely it was held, and whether each week's range of the capacity held the truth."""

    squares: list[float] = field(default_factory=list)
    held: list[bool] = field(default_factory=list)
    wide: list[float] = field(default_factory=list)
    weeks: list[bool] = field(default_factory=list)
    spread: list[float] = field(default_factory=list)


def lived(case: str, seed: int) -> HalfYear:
    """The tracker through one of them, judged every two hours from the second day on."""
    plan = next(iter(half_years(case, 1, seed)))
    vehicle, truth, found = owner(plan), {}, HalfYear()

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
        found.squares.append((told.charge_frac.value - charge) ** 2)
        found.held.append(told.charge_frac.low <= charge <= told.charge_frac.high)
        found.wide.append(told.charge_frac.high - told.charge_frac.low)
        if minute.end_s >= week_s:
            week_s += WEEK_S
            found.weeks.append(told.capacity_ah.low <= capacity_ah <= told.capacity_ah.high)
            found.spread.append((told.capacity_ah.high - told.capacity_ah.low) / vehicle.house.rated_capacity_ah)
    return found


@pytest.mark.long
@pytest.mark.parametrize(("case", "least_held"), [("lithium fades", 0.88), ("lithium sound", 0.78)])
def test_a_capacity_that_nothing_measured_is_held_for_half_a_year(case: str, least_held: float) -> None:
    """Before what was learnt beside charge was kept within what it may be, 10 to 23 of 26 weeks of these four were held, and on
    another seed the tracker's step ended with an error. Of charge 93 % ought to be held: one sound battery, which is full two
    points before the makes measured are, is held 67 % of the time, the other three 90 to 94 %.
    """
    both = [lived(case, seed) for seed in (31, 32)]
    weeks, held = [w for one in both for w in one.weeks], [h for one in both for h in one.held]
    assert len(weeks) >= 50 and sum(weeks) >= 0.95 * len(weeks)
    assert sum(held) >= least_held * len(held)
    for one in both:
        assert 100.0 * (sum(one.squares) / len(one.squares)) ** 0.5 < 4.1
        assert 0.02 < sum(one.wide) / len(one.wide) < 0.09
        assert 0.1 < sum(one.spread) / len(one.spread) < 0.75
