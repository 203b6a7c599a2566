"""What the charge filter hands on of charge and capacity: its normal, with what may be missing unseen."""
from math import hypot, sqrt
from operator import itemgetter

from monitor.parameters import table
from monitor.posterior import Part, Posterior

P = table("estimation", "charge_posterior")
#: A half of a normal, as a normal. Two of these, one to each side, have the whole one's median, its 2.5 % and its 97.5 % (where one
#: side is twice as wide as the other within 4 %).
HALF_MEAN, HALF_SIGMA, LEAST_HIDDEN_LN = P.number("half_mean"), P.number("half_sigma"), P.number("least_hidden_ln")


def hand_on(part: Part, doubt_frac: float, doubt_ln: float, hidden_ln: float, offset_sigma_a: float) -> Posterior:
    """The belief, ready to be drawn from.

    Parameters
    ----------
    part : charge fraction and ln capacity as believed
    doubt_frac : of charge, that grows with the depth it was counted down from full (one sigma, of the depth)
    doubt_ln : of capacity, beyond what the filter holds (one sigma of ln): the shunt's gain, what no measurement averages out
    hidden_ln : how much more capacity may be missing than voltage shows (one sigma of ln, to the lower side only)
    offset_sigma_a : how well the shunt's zero is known [A]
    """
    w, z, q, var_z, var_q, cross = part
    z = min(z, 1.0)
    depth = 1.0 - z
    whole = (w, z, q, var_z + (doubt_frac * depth) ** 2, var_q + doubt_ln**2, cross)
    # Counted from full, less capacity is less charge: what is hidden of the one is missing from the other.
    made = [whole] if hidden_ln < LEAST_HIDDEN_LN else _split(whole, hidden_ln, depth)
    return Posterior(tuple(sorted(made, key=itemgetter(1))), offset_sigma_a).rounded()


def of_offset(offset_sigma_a: float) -> Posterior:
    """Of the belief only how well the shunt's zero is known, one sigma [A]."""
    return Posterior((), offset_sigma_a).rounded()


def _split(whole: Part, hidden_ln: float, lever: float) -> list[Part]:
    """One normal as two halves by capacity, the lower one wider by what is hidden; charge follows by their covariance and the lever."""
    w, z, q, var_z, var_q, cross = whole
    found = []
    for side, more in ((1.0, 0.0), (-1.0, hidden_ln)):
        sigma = hypot(sqrt(var_q), more)
        tie = cross + lever * more * more                        # of this side's charge and capacity
        by_q = tie / (sigma * sigma)
        kept = HALF_SIGMA**2 - 1.0                               # the half's own variance, over the whole one's, less one
        found.append((w / 2, z + side * HALF_MEAN * sigma * by_q, q + side * HALF_MEAN * sigma,
                      var_z + (lever * more) ** 2 + kept * by_q * tie, HALF_SIGMA**2 * sigma * sigma, HALF_SIGMA**2 * tie))
    return found
