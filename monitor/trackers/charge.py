"""State of charge of the house battery: counts ampere-hours, corrects itself at rest, full and empty."""
from dataclasses import dataclass, replace
from math import exp, log, sqrt

from monitor.battery import Battery, Vehicle
from monitor.chemistry import lead_acid, lithium_iron
from monitor.findings import ChargeFindings, Condition, Estimate, Event, JoinFindings, NotYet
from monitor.sample import Minute
from monitor.trackers import charge_anchor, charge_filter, kalman, resistance_growth, step_resistance, usual_load
from monitor.trackers.charge_filter import CAPACITY, DEPTH, LEVEL, OFFSET, SLOW
from monitor.trackers.kalman import Belief
from monitor.trackers.resistance_growth import Growth
from monitor.trackers.step_resistance import Resistance
from monitor.trackers.usual_load import UsualLoad

WINDOW_S = 900.0
Z95 = 1.96


@dataclass(frozen=True, slots=True)
class Held:
    """Everything the charge tracker carries from minute to minute."""

    belief: Belief
    resistance: Resistance
    at_s: float | None = None
    pending_h: float = 0.0
    pending_in_ah: float = 0.0
    pending_out_ah: float = 0.0
    pending_lost_ah: float = 0.0
    middle_a: float = 0.0          # current filtered over 17 min
    slow_a: float = 0.0            # over two hours
    surface_v: float = 0.0         # left over from charging, lead-acid
    direction: float = 0.0         # hysteresis: 1 charging, -1 discharging
    since_charge_s: float = 1e9
    drawn_ah: float = 1e9          # since the last charging
    temperature_c: float | None = None
    window_start_s: float = 0.0
    window_n: int = 0
    window_v: float = 0.0
    window_drop_v: float = 0.0
    tail_v: float = 0.0            # means over ten minutes
    tail_a: float = 0.0
    high_s: float = 0.0
    anchor: str = ""
    anchor_at_s: float | None = None
    session_sigma: float = 1.0     # of the best anchor in this spell at full
    session_h: float = 0.0         # since its first
    before_session: Belief | None = None   # the belief without this spell's anchors, counted on
    surprise: float = 1.0
    usual: UsualLoad = UsualLoad()
    growth: Growth = Growth()
    growth_at_s: float = 0.0
    news: tuple[Event, ...] = ()


def begin(vehicle: Vehicle) -> Held:
    """Nothing seen yet."""
    return Held(charge_filter.begin(vehicle.house, vehicle.current_sensor), step_resistance.begin(vehicle.house))


def update(held: Held, minute: Minute, vehicle: Vehicle, join: JoinFindings) -> Held:
    """One minute further."""
    battery, sensor = vehicle.house, vehicle.current_sensor
    belief = held.belief
    capacity = exp(belief.mean[CAPACITY])
    voltage = minute.house_voltage_v
    temperature = minute.house_temperature_c if minute.house_temperature_c is not None else held.temperature_c
    warmth = 20.0 if temperature is None else temperature
    hours, gap_h = minute.covered_s / 3600.0, minute.gap_s / 3600.0
    usual = held.usual
    raw = minute.house_current_a
    current = None if raw is None else (raw - sensor.offset_a) * sensor.gain
    shift = sensor.offset_a * hours
    in_ah, out_ah = minute.charge_in_ah, minute.charge_out_ah
    if shift > 0 and in_ah > out_ah or shift < 0 and in_ah >= out_ah:
        in_ah -= shift
    else:
        out_ah += shift
    in_ah, out_ah = max(in_ah, 0.0) * sensor.gain, max(out_ah, 0.0) * sensor.gain
    extra_var = 0.0
    if gap_h > 0:
        gap_in, gap_out, doubt = usual_load.guess(
            usual, minute.gap_s, minute.hour, minute.end_s, held.middle_a,
            held.middle_a if current is None else current, battery.rated_capacity_ah)
        in_ah += gap_in
        out_ah += gap_out
        mean_a = (gap_out - gap_in) / gap_h
        extra_var = doubt * doubt + (mean_a * minute.gap_doubt_s / 3600.0) ** 2
    lost = lead_acid.self_discharge_per_hour(lead_acid.KINDS[battery.chemistry], warmth) * capacity * (
        hours + gap_h) if battery.lead_acid else 0.02 / 720 * capacity * (hours + gap_h)
    if current is not None and voltage is not None and battery.lead_acid and current > 0 and voltage > 13.2:
        kind = lead_acid.KINDS[battery.chemistry]
        lost += min(lead_acid.gassing_a(capacity, voltage, warmth, kind.gassing_scale), current) * hours
    pending_h = held.pending_h + hours + gap_h
    pending_in, pending_out = held.pending_in_ah + in_ah, held.pending_out_ah + out_ah
    pending_lost = held.pending_lost_ah + lost
    if extra_var:
        belief = kalman.widened(belief, DEPTH, extra_var)
    elapsed = minute.covered_s + minute.gap_s
    middle, slow, surface, direction = held.middle_a, held.slow_a, held.surface_v, held.direction
    since, drawn = held.since_charge_s + elapsed, held.drawn_ah + out_ah
    tail_v, tail_a, high_s = held.tail_v, held.tail_a, held.high_s
    load = current if current is not None else held.middle_a
    if current is not None and minute.covered_s:
        usual = usual_load.learn(usual, current, minute.covered_s, minute.hour, minute.end_s)
    middle += (1 - exp(-elapsed / 1000.0)) * (load - middle)
    slow += (1 - exp(-elapsed / 7200.0)) * (load - slow)
    moved = (in_ah - out_ah) / capacity
    if moved:
        direction += min(abs(moved) / lithium_iron.MEMORY_FRAC, 1.0) * ((1.0 if moved > 0 else -1.0) - direction)
    rated = battery.rated_capacity_ah
    resistance = held.resistance
    depth_frac = (belief.mean[DEPTH] + pending_out - pending_in) / capacity
    if battery.lead_acid:
        charging = (current is not None and current > 0.002 * rated) or (voltage is not None and voltage > 13.2)
        if charging and voltage is not None:
            aim = min(max(0.25 * (voltage - 12.8), 0.0), 0.15)
            surface += (1 - exp(-elapsed / 1800.0)) * (aim - surface)
        else:
            surface *= exp(-elapsed / 9000.0 - out_ah / (0.02 * rated))
    else:
        charging = voltage is not None and voltage > 13.8
    if charging:
        since = drawn = 0.0
    held_news: list[Event] = []
    anchor, anchor_at, session = held.anchor, held.anchor_at_s, held.session_sigma
    window_n, window_v, window_drop, window_start = held.window_n, held.window_v, held.window_drop_v, held.window_start_s
    surprise = held.surprise
    before, session_h = held.before_session, held.session_h + elapsed / 3600.0
    if voltage is not None and current is not None and elapsed:
        resistance = step_resistance.update(resistance, minute, battery, depth_frac, surface < 0.02)
        keep = 1 - exp(-elapsed / 600.0)
        tail_v += keep * (voltage - tail_v)
        tail_a += keep * (current - tail_a)
        high_s = high_s + elapsed if voltage > (13.4 if battery.lead_acid else 13.7) else 0.0
        usable = (
            -rated / 8 < current < 0.002 * rated and voltage < 13.2 and since > 3600.0 and (drawn > 0.02 * rated or since > 14400.0) if battery.lead_acid
            else -rated / 6 < current < rated / 6 and voltage < 13.8
        )
        if usable and not gap_h:
            window_n += 1
            window_v += voltage
            mid_r, slow_r = _polarisation(battery, depth_frac)
            window_drop += (
                step_resistance.at(resistance, depth_frac) * current + mid_r * middle + slow_r * slow + surface
            )
    now = minute.end_s
    growth, growth_at = held.growth, held.growth_at_s
    if battery.lead_acid and resistance.latest_ohm and belief.sigma(DEPTH) < 0.08 * rated:
        growth = resistance_growth.add(growth, resistance.latest_ohm, depth_frac * capacity / rated, temperature)
    if growth.fresh and now - growth_at > 3600.0:
        growth, growth_at = resistance_growth.judge(
            growth, belief.mean[CAPACITY] - log(rated), belief.sigma(CAPACITY)), now
    due = now - window_start >= WINDOW_S
    seen_full = None
    if current is not None and voltage is not None:
        seen_full = charge_anchor.full(battery, min(tail_v, voltage + 0.05), max(tail_a, current), capacity, high_s)
    if high_s == 0.0:
        session, before = 1.0, None
    elif session_h > 3.0:
        before = None
    empty = charge_anchor.empty(battery, voltage, current, capacity) if voltage is not None and current is not None else None
    if due or (seen_full and seen_full.sigma_frac < 0.8 * session) or empty:
        mid_r, slow_r = _polarisation(battery, depth_frac)
        slow_v = 0.4 * abs(slow_r * slow) + 0.8 * surface + 0.003
        belief = charge_filter.forward(belief, battery, pending_h, pending_in, pending_out, pending_lost, slow_v)
        if before is not None:
            before = charge_filter.forward(before, battery, pending_h, pending_in, pending_out, pending_lost, slow_v)
        pending_h = pending_in = pending_out = pending_lost = 0.0
    if due:
        if window_n * (now - (held.at_s or now)) >= 400.0 and window_n:
            drop = window_drop / window_n
            measured = window_v / window_n - drop
            if battery.lead_acid:
                measured -= lead_acid.VOLTAGE_PER_K * (warmth - 25.0)
            expected_v, slopes, curve = charge_filter.rest(belief, battery, direction)
            depth_frac = belief.mean[DEPTH] / capacity
            r_doubt = step_resistance.sigma_ohm(resistance, depth_frac) * slow + 0.1 * drop
            variance = 0.006**2 + curve * curve + r_doubt * r_doubt + (0.013 if temperature is None else 0.003) ** 2
            miss = measured - expected_v
            total = kalman.variance_along(belief, slopes) + variance
            surprise += 0.03 * (min(miss * miss / total, 60.0) - surprise)
            if miss * miss < 25.0 * total:
                belief = kalman.weigh(belief, slopes, miss, variance)
                if not anchor:
                    anchor, anchor_at = "rest", now
                elif anchor == "rest":
                    anchor_at = now
            if surprise > 5.0:
                belief = kalman.widened(kalman.widened(belief, DEPTH, (0.1 * capacity) ** 2), LEVEL, 0.02**2)
                surprise = 1.0
        window_n, window_v, window_drop, window_start = 0, 0.0, 0.0, now
    if seen_full is not None:
        if seen_full.sigma_frac < 0.8 * session:
            # A better anchor of the same spell takes the place of the worse one, as if that had not been.
            if before is None and session == 1.0:
                before, session_h = belief, 0.0
            depth, sigma = seen_full.depth_frac * capacity, seen_full.sigma_frac * capacity
            if before is not None:
                slopes = tuple(1.0 if i == DEPTH else (-depth if i == CAPACITY else 0.0) for i in range(8))
                belief = kalman.weigh(before, slopes, depth - before.mean[DEPTH], sigma * sigma)
            else:
                belief = kalman.replaced(belief, DEPTH, depth, sigma)
            session = seen_full.sigma_frac
        elif due and before is None and belief.sigma(DEPTH) > session * capacity:
            # Held there by the charger; what still goes in is gas and teaches nothing.
            belief = kalman.replaced(belief, DEPTH, min(belief.mean[DEPTH], seen_full.depth_frac * capacity), session * capacity)
        anchor, anchor_at = "full", now
    if empty is not None:
        slopes = tuple(1.0 if i == DEPTH else (-empty.depth_frac * capacity if i == CAPACITY else 0.0) for i in range(8))
        variance = (empty.sigma_frac * capacity) ** 2 * 30
        belief = kalman.weigh(belief, slopes, empty.depth_frac * capacity - belief.mean[DEPTH], variance)
        anchor, anchor_at = "empty", now
    return Held(
        belief, resistance, now, pending_h, pending_in, pending_out, pending_lost, middle, slow, surface, direction,
        since, drawn, temperature, window_start, window_n, window_v, window_drop, tail_v, tail_a, high_s, anchor, anchor_at,
        session, session_h, before, surprise, usual, growth, growth_at, tuple(held_news),
    )


def _polarisation(battery: Battery, depth_frac: float) -> tuple[float, float]:
    """Resistances of the middle and the slow relaxation [ohm] (forms: Ceraolo 2000)."""
    rated = battery.rated_capacity_ah
    if battery.lead_acid:
        left = min(max(1.0 - depth_frac, 0.05), 1.0)
        return 0.15 / rated, 0.8 * -log(left) / rated
    return 0.4 / rated, 0.4 / rated


def findings(held: Held, vehicle: Vehicle) -> ChargeFindings:
    """What is known now."""
    belief = held.belief
    mean, cov = belief.mean, belief.covariance
    depth = mean[DEPTH] + held.pending_out_ah - held.pending_in_ah * 0.98 + mean[OFFSET] * held.pending_h
    log_q, var_q, var_d, var_dq = mean[CAPACITY], cov[CAPACITY][CAPACITY], cov[DEPTH][DEPTH], cov[DEPTH][CAPACITY]
    if held.growth.sigma_ln:
        total = var_q + held.growth.sigma_ln**2
        miss = held.growth.mean_ln + log(vehicle.house.rated_capacity_ah) - log_q
        depth += var_dq / total * miss
        log_q += var_q / total * miss
        var_d -= var_dq * var_dq / total
        var_dq -= var_dq * var_q / total
        var_q -= var_q * var_q / total
    capacity = exp(log_q)
    u = depth / capacity
    sigma = sqrt(max(var_d / capacity**2 - 2 * u * var_dq / capacity + u * u * var_q, 0.0)) + 0.002
    z = min(max(1 - u, 0.0), 1.0)
    basis = {"full": "full charge seen", "empty": "empty seen", "rest": "rested", "": "first guess"}[held.anchor]
    charge = Estimate(z, min(max(1 - u - Z95 * sigma, 0.0), 1.0), max(min(1 - u + Z95 * sigma, 1.0), 0.0), basis)
    q = sqrt(var_q)
    cap = Estimate(capacity, capacity * exp(-Z95 * q), capacity * exp(Z95 * q), "learnt")
    not_yet = NotYet("one full charge, or a night without the sun")
    return ChargeFindings(
        charge, cap, not_yet, not_yet, not_yet,
        Estimate(mean[OFFSET], mean[OFFSET] - Z95 * belief.sigma(OFFSET), mean[OFFSET] + Z95 * belief.sigma(OFFSET), "learnt"),
        held.anchor, None if held.anchor_at_s is None or held.at_s is None else held.at_s - held.anchor_at_s,
    )


def conditions(held: Held, vehicle: Vehicle) -> tuple[Condition, ...]:
    """What may deserve an alert."""
    return ()
