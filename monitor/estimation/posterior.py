"""What the mixture says of charge and capacity: moments, intervals, draws."""
from math import exp, sqrt

from monitor.estimation.state import CAPACITY, CHARGE, Mixture
from monitor.parameters import table
from monitor.posterior import Interval, Posterior, quantiles

_P = table("estimation", "posterior")
#: Components lighter than this are not told of.
LEAST_SHARE = _P.number("least_share")
#: Never surer than this of a charge: the counting within a window.
COUNTED_FRAC = _P.number("counted_frac")


def posterior(mixture: Mixture, shares: list[float], out_ah: float, doubt_ah2: float, gain_sigma_frac: float) -> Posterior:
    """What is believed now.

    out_ah: net charge drawn since the mixture's last step, doubt_ah2: variance of what of it was guessed; gain_sigma_frac:
    doubt of the shunt's gain, which capacity cannot be told from.

    mixture: components with their weights; shares: weight of each component, 1 in all.
    """
    parts = []
    for share, c in zip(shares, mixture, strict=True):
        if share < LEAST_SHARE:
            continue
        mean = c.mean
        capacity = exp(mean[CAPACITY])
        drawn = out_ah / capacity
        var_q, cross = c.variance(CAPACITY), c.variance(CHARGE, CAPACITY)
        variance = c.variance(CHARGE) + 2 * drawn * cross + drawn * drawn * var_q + doubt_ah2 / capacity**2
        parts.append((share, mean[CHARGE] - drawn, mean[CAPACITY], max(variance, 0.0) + COUNTED_FRAC**2,
                      var_q + gain_sigma_frac**2, cross + drawn * var_q))
    return Posterior(tuple(parts))


def unbounded_charge(belief: Posterior) -> Interval:
    """Charge fraction with what lies below 0 or above 1, as the filter goes on with it."""
    return quantiles([(w, z, sqrt(var)) for w, z, _, var, _, _ in belief.parts])


def count_on(belief: Posterior, out_ah: float, doubt_ah2: float) -> Posterior:
    """A belief of some minutes ago with what was counted since.

    Parameters
    ----------
    belief : then
    out_ah : net charge drawn since [Ah]
    doubt_ah2 : variance of what of it was guessed [Ah2]
    """
    parts = []
    for w, z, q, var_z, var_q, cross in belief.parts:
        capacity = exp(q)
        drawn = out_ah / capacity
        variance = var_z + 2 * drawn * cross + drawn * drawn * var_q + doubt_ah2 / capacity**2
        parts.append((w, z - drawn, q, max(variance, COUNTED_FRAC**2), var_q, cross + drawn * var_q))
    return Posterior(tuple(parts), belief.offset_sigma_a).rounded()
