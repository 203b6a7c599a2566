"""What the charge tracker says: each figure with its interval and what it rests on."""
from math import exp, log, sqrt
from typing import TYPE_CHECKING

from monitor.battery import Vehicle
from monitor.findings import ChargeFindings, Estimate, NotYet
from monitor.trackers import charge_guesses
from monitor.trackers.charge_filter import CAPACITY, DEPTH, LOSS, OFFSET

if TYPE_CHECKING:
    from monitor.trackers.charge import Held

Z95 = 1.96
BASIS = {"full": "full charge seen", "empty": "empty seen", "rest": "rested", "": "first guess"}


def findings(held: "Held", vehicle: Vehicle) -> ChargeFindings:
    """What is known now."""
    count, rated = held.count, vehicle.house.rated_capacity_ah
    parts = []
    for share, guess in zip(charge_guesses.shares(held.guesses), held.guesses):
        belief = guess.belief
        mean, cov = belief.mean, belief.covariance
        depth = mean[DEPTH] + count.out_ah - count.in_ah * (1 - mean[LOSS]) + mean[OFFSET] * count.hours + count.lost_ah
        log_q, var_q, var_d, var_dq = mean[CAPACITY], cov[CAPACITY][CAPACITY], cov[DEPTH][DEPTH], cov[DEPTH][CAPACITY]
        var_d += count.doubt_ah2
        if held.growth.sigma_ln:
            # Growth of resistance speaks of capacity alone; what it changes in the depth follows from their tie.
            total = var_q + held.growth.sigma_ln**2
            miss = held.growth.mean_ln + log(rated) - log_q
            depth += var_dq / total * miss
            log_q += var_q / total * miss
            var_d -= var_dq * var_dq / total
            var_dq -= var_dq * var_q / total
            var_q -= var_q * var_q / total
        capacity = exp(log_q)
        u = depth / capacity
        parts.append((share, 1 - u, max(var_d / capacity**2 - 2 * u * var_dq / capacity + u * u * var_q, 0.0), log_q, var_q))
    z = sum(p[0] * p[1] for p in parts)
    sigma = sqrt(sum(p[0] * (p[2] + (p[1] - z) ** 2) for p in parts)) + 0.002
    log_q = sum(p[0] * p[3] for p in parts)
    sigma_q = sqrt(sum(p[0] * (p[4] + (p[3] - log_q) ** 2) for p in parts))
    capacity = exp(log_q)
    basis = BASIS[held.anchor]
    charge = Estimate(_inside(z), _inside(z - Z95 * sigma), _inside(z + Z95 * sigma), basis)
    cap = Estimate(capacity, capacity * exp(-Z95 * sigma_q), capacity * exp(Z95 * sigma_q), "learnt")
    not_yet = NotYet("one full charge, or a night without the sun")
    belief = charge_guesses.one(held.guesses)
    offset, doubt = belief.mean[OFFSET], belief.sigma(OFFSET)
    age = None if held.anchor_at_s is None or count.at_s is None else count.at_s - held.anchor_at_s
    return ChargeFindings(
        charge, cap, not_yet, not_yet, not_yet, Estimate(offset, offset - Z95 * doubt, offset + Z95 * doubt, "learnt"),
        held.anchor, age)


def _inside(frac: float) -> float:
    return min(max(frac, 0.0), 1.0)
