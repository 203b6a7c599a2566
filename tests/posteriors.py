"""What is believed of charge and capacity, as tests and benchmarks state it."""
from math import log

from monitor.posterior import Posterior


def of_normal(charge_frac: float, charge_sigma_frac: float, capacity_ah: float, capacity_sigma_ln: float, correlation: float = 0.0,
              ) -> Posterior:
    """One normal.

    charge_frac, charge_sigma_frac: charge fraction [1] and one sigma; capacity_ah, capacity_sigma_ln: median of the capacity [Ah] and one
    sigma of its logarithm; correlation: of charge and ln capacity, -1 to 1.
    """
    return Posterior(((1.0, charge_frac, log(capacity_ah), charge_sigma_frac**2, capacity_sigma_ln**2,
                       correlation * charge_sigma_frac * capacity_sigma_ln),))
