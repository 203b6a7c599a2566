"""What the lead-acid charge tracker says: each figure with its interval and what it rests on."""
from math import exp, hypot, log, sqrt

from monitor.battery import lead_acid
from monitor.battery.label import Vehicle
from monitor.estimation import charge_posterior, charge_suspicion, charging_stage, step_resistance
from monitor.estimation.charge_filter import CAPACITY, DEPTH, LEVEL, LOSS, OFFSET
from monitor.estimation.charge_state import ChargeState
from monitor.estimation.step_resistance import Resistance
from monitor.findings import NOT_ASKED, Z95, Answer, Basis, ChargeFindings, Estimate, NotYet
from monitor.parameters import table
from monitor.posterior import Part

BASIS: dict[str, Basis] = {"full": "full charge seen", "empty": "empty seen", "rest": "rested", "": "first guess"}
P = table("estimation", "charge_report")
#: Before anything was measured nothing is said: the prior alone covers all there is.
UNKNOWN_WIDTH_FRAC = P.number("unknown_width_frac")
#: Lost plates leave the rest voltage as it was (Bode 1977): until one discharge from full to a knee or the growth of
#: resistance has spoken, as little as this part of the label may be there.
LEAST_OF_LABEL, HIDDEN_NONE, HIDDEN_ALL = P.number("least_of_label"), P.number("hidden_none_ln"), P.number("hidden_all_ln")
SYSTEMATIC, COUNTED_FRAC = P.number("systematic"), P.number("counted_frac")
COUNTING_S, LEAST_FULLS = 86400.0 * P.number("counting_days"), P.count("least_fulls")
ZERO_PART, LEAST_STEPS = P.number("zero_part"), P.count("least_steps")


def findings(state: ChargeState, vehicle: Vehicle, brief: bool = False) -> ChargeFindings:
    """What is known now.

    state: what was kept after the latest minute; vehicle: what its owner said of it; brief: only what trackers ask that make no
    forecast (`house_charge.findings`).
    """
    count, house = state.count, vehicle.house
    part = _part(state, vehicle)
    _, counted, log_q, var_z, var_q, cross = part
    sigma, sigma_q = sqrt(var_z) + COUNTED_FRAC, sqrt(max(var_q, 0.0))
    z = min(counted, 1.0)   # a count may run beyond full, what is in the battery may not
    age = None if state.anchor_at_s is None or count.at_s is None else count.at_s - state.anchor_at_s
    stage = "unknown" if brief else charging_stage.stage(count, house, state.session_sigma < 1.0)
    offset = _offset(state, vehicle)
    resistance = resistance_at(state.resistance, 1 - z)
    doubt = "" if brief else chemistry_doubt(state, vehicle)
    hidden = _hidden_sigma_ln(state, log_q, sigma_q, house.rated_capacity_ah)
    low, high = _ends(z, sigma, sigma_q, cross, hidden)
    if state.suspicion.reversed:
        wait = NotYet("the shunt seems to be wired backwards; once that is right, one full charge")
        return ChargeFindings(wait, wait, wait, wait, resistance, offset, state.anchor, age, doubt, stage)
    if high - low > UNKNOWN_WIDTH_FRAC:
        wait = NotYet("it needs one full charge, or a night without the sun")
        return ChargeFindings(wait, wait, wait, wait, resistance, offset, state.anchor, age, doubt, stage)
    basis = BASIS[state.anchor]
    if basis == "full charge seen" and age is not None and age > COUNTING_S:
        basis = "rested"
    capacity = exp(log_q)
    # the gain of the shunt cannot be told from capacity, and stays in its interval
    beyond = hypot(vehicle.current_sensor.gain_sigma_frac, SYSTEMATIC)
    sigma_q = hypot(sigma_q, beyond)
    learnt: Basis = "empty seen" if state.anchor == "empty" else "learnt" if state.fulls else "label"
    charge = Estimate(_inside(z), low, high, basis)
    size = Estimate(capacity, capacity * exp(-Z95 * hypot(sigma_q, hidden)), capacity * exp(Z95 * sigma_q), learnt)
    if brief:
        belief = charge_posterior.of_offset(state.belief.sigma(OFFSET))
        return ChargeFindings(charge, size, NOT_ASKED, NOT_ASKED, resistance, offset, state.anchor, age, doubt, stage, belief)
    left = _left_ah(z, sigma, capacity, sigma_q, cross, hidden, 0.0, basis)
    usable = _left_ah(z, sigma, capacity, sigma_q, cross, hidden, house.reserve_soc_frac, basis)
    return ChargeFindings(
        charge, size, left, usable, resistance, offset, state.anchor, age, doubt, stage,
        charge_posterior.hand_on(part, SYSTEMATIC, beyond, hidden, state.belief.sigma(OFFSET)))


def _part(state: ChargeState, vehicle: Vehicle) -> Part:
    """Charge fraction and ln capacity: weight, means, variances, covariance."""
    count, rated = state.count, vehicle.house.rated_capacity_ah
    mean, cov = state.belief.mean, state.belief.covariance
    depth = mean[DEPTH] + count.out_ah - count.in_ah * (1 - mean[LOSS]) + mean[OFFSET] * count.hours + count.lost_ah
    log_q, var_q, var_d, var_dq = mean[CAPACITY], cov[CAPACITY][CAPACITY], cov[DEPTH][DEPTH], cov[DEPTH][CAPACITY]
    var_d += count.doubt_ah2
    if state.growth.sigma_ln:
        # Growth of resistance speaks of capacity alone; what it changes in the depth follows from their tie.
        total = var_q + state.growth.sigma_ln**2
        miss = state.growth.mean_ln + log(rated) - log_q
        depth += var_dq / total * miss
        log_q += var_q / total * miss
        var_d -= var_dq * var_dq / total
        var_dq -= var_dq * var_q / total
        var_q -= var_q * var_q / total
    capacity = exp(log_q)
    u = depth / capacity
    var_z = max(var_d / capacity**2 - 2 * u * var_dq / capacity + u * u * var_q, 0.0)
    return 1.0, 1 - u, log_q, var_z, var_q, u * var_q - var_dq / capacity


def _hidden_sigma_ln(state: ChargeState, log_q: float, sigma_q: float, rated_ah: float) -> float:
    """How much more capacity may be missing than voltage shows (ln, one sigma), none once it was seen from full to a knee.

    What was drawn from full without finding it empty is there: no doubt reaches below that.
    """
    own = state.belief.sigma(CAPACITY)
    share = min(max((own - HIDDEN_NONE) / (HIDDEN_ALL - HIDDEN_NONE), 0.0), 1.0)
    room = max(log_q - log(max(LEAST_OF_LABEL * rated_ah, state.most_ah)), 0.0) / Z95
    return share * sqrt(max(room * room - sigma_q * sigma_q, 0.0))


def _ends(z: float, sigma: float, sigma_q: float, cross: float, hidden: float) -> tuple[float, float]:
    """Both ends of the interval of charge. Capacity is in doubt by a factor, and more of it may be missing than more
    be there: counted from full less of it is less charge.

    Rest voltage takes that doubt off again only where acid is what limits it, so there it stays.
    """
    depth, by_q = 1.0 - z, abs(cross) / max(sigma_q, 1e-9)
    above = hypot(sigma, SYSTEMATIC * depth)
    below = hypot(above, hidden * depth)
    below *= 1.0 + 0.5 * Z95 * hypot(sigma_q, hidden) * min(hypot(by_q, hidden * depth) / below, 1.0) ** 2
    return _inside(z - Z95 * below), _inside(z + Z95 * above)


def _left_ah(
    z: float, sigma: float, capacity_ah: float, sigma_q: float, cross: float, hidden: float, reserve_frac: float, basis: Basis,
) -> Answer:
    """Ampere-hours down to a charge fraction; a battery below it has none left.

    What is hidden of the capacity is missing from its lower end: what was taken out since it was full stays taken out.
    """
    part = z - reserve_frac
    charge = part * capacity_ah
    doubt = capacity_ah * sqrt(max(sigma**2 + part**2 * sigma_q**2 + 2 * part * cross, 0.0))
    below = hypot(doubt, hidden * (1.0 - reserve_frac) * capacity_ah)
    return Estimate(max(charge, 0.0), max(charge - Z95 * below, 0.0), max(charge + Z95 * doubt, 0.0), basis)


def _offset(state: ChargeState, vehicle: Vehicle) -> Answer:
    mean, doubt = state.belief.mean[OFFSET], state.belief.sigma(OFFSET)
    known = vehicle.current_sensor.offset_a
    offset = known + mean
    if doubt > ZERO_PART * vehicle.current_sensor.offset_sigma_a and not known:
        return NotYet("it needs two full charges some days apart, or a zero calibration with everything off")
    return Estimate(offset, offset - Z95 * doubt, offset + Z95 * doubt, "learnt")


def resistance_at(seen: Resistance, depth_frac: float) -> Answer:
    """Resistance to a load step at a depth of discharge [ohm], of either chemistry."""
    if seen.steps < LEAST_STEPS:
        return NotYet("it needs some load steps: the fridge's will do")
    depth = min(max(depth_frac, 0.0), 1.0)
    ohm, sigma = step_resistance.at(seen, depth), step_resistance.sigma_ohm(seen, depth)
    return Estimate(ohm, max(ohm - Z95 * sigma, 0.0), ohm + Z95 * sigma, "measured")


def chemistry_doubt(state: ChargeState, vehicle: Vehicle) -> str:
    """Why the configured type looks wrong, or ""."""
    house, belief = vehicle.house, state.belief
    full_v = lead_acid.construction(house).full_v + belief.mean[LEVEL]
    return charge_suspicion.chemistry_doubt(state.suspicion, house, full_v, belief.sigma(LEVEL), state.fulls >= LEAST_FULLS)


def _inside(frac: float) -> float:
    return min(max(frac, 0.0), 1.0)
