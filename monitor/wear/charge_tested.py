"""What a capacity test teaches the charge tracker: the capacity, measured, and nothing else."""
from math import log

from monitor.estimation import kalman, lithium_charge
from monitor.estimation.charge_filter import CAPACITY
from monitor.estimation.house_charge import HouseState
from monitor.estimation.lithium_charge import LithiumState
from monitor.parameters import table
from monitor.replacing import replace
from monitor.wear.verdict import CapacityTest

P = table("wear", "charge_tested")
LEAST_SIGMA, UNSAID_SIGMA = P.number("least_sigma"), P.number("unsaid_sigma")


def apply_capacity_test(state: HouseState, test: CapacityTest) -> HouseState:
    """The charge tracker after a capacity test that reached its end; after one that did not, as before.

    The test becomes one measurement of the logarithm of capacity, as sure as the test says.
    """
    if not test.reached_end:
        return state
    sigma = UNSAID_SIGMA if test.sigma_ln is None else max(test.sigma_ln, LEAST_SIGMA)
    if isinstance(state, LithiumState):
        return lithium_charge.apply_capacity_test(state, test.capacity_ah, sigma)
    belief = state.belief
    slopes = tuple(1.0 if i == CAPACITY else 0.0 for i in range(len(belief.mean)))
    belief = kalman.update(belief, slopes, log(test.capacity_ah) - belief.mean[CAPACITY], sigma * sigma)
    return replace(state, belief=belief, before_session=None)
